"""Everything in a record is under its seals: each column changed, each row taken out, put in or moved is named."""

import contextlib
import sqlite3

import pytest
from edge.test_store import OHMS, OPEN, PROCEDURE, frame, now

from meterlog.base.readings import Capture, Frame, Reading, Rejected
from meterlog.store import audit, evidence
from meterlog.store.migrations import run_missing
from meterlog.store.reader import reading
from meterlog.store.rows import TABLES
from meterlog.store.sqlite import open_in_memory
from meterlog.store.writer import Writer

ROW_CHECKS = [check for check in audit.STORED if check is not evidence.check_schema]


def measured(writer, link, job, step, at, form=OHMS, counts=420):
    """Three readings and the capture of them; answers its id and the next free time."""
    first = measured.ordinal
    for i in range(3):
        heard = Frame(3 * (first + i), b"\x55\x01\x02", at + i / 4, (Reading(form, counts),))
        writer.outcomes(link, [heard], job, step)
    measured.ordinal += 3
    capture = Capture(
        form=form, counts=counts, count=3, spread=0.0, deviation=0.0, started=at, ended=at + 0.5, first=first,
        last=first + 2, how="settled", proof=((first, first + 1),),
    )  # fmt: skip
    return writer.capture(job, step, link, capture)


def verdict(writer, job, step, capture, supersedes=None, reason=""):
    row = {
        "outcome": "pass", "why": "below the limit", "result": "{}",
        "context": '{"captures":{},"entries":{},"where":""}',
        "procedure": writer.keep_text("procedure", "x", PROCEDURE.text),
        "profile": writer.keep_text("profile", "p", "b\n"),
        "facts": writer.keep_text("instrument", "m", "{}"), "program": "0.1.0", "supersedes": supersedes,
        "reason": reason,
    }  # fmt: skip
    return writer.verdict(job, step, capture, row, now(2100))


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Two jobs with all that a record can hold: notes, photographs, an override, a superseded verdict, an erasure."""
    path = tmp_path_factory.mktemp("sealed") / "bench.db"
    measured.ordinal = 0
    writer = Writer(path, now())
    meter = writer.open_link("multimeter", "profile: a\n", '{"accuracy": "x"}', "loop://a", now())
    other = writer.open_link("thermometer", "profile: b\n", "{}", "loop://b", now(1))
    writer.open_link("scale", "profile: c\n", "{}", "loop://c", now(2))  # says nothing, ever
    for ref in ("K-7", "K-8"):
        job, steps = writer.open_job(ref, PROCEDURE, {"rated power": "900 W"}, {"owner": f"Owner of {ref}"}, now(400))
        first = measured(writer, meter, job, steps["element"], 1.0)
        judged = verdict(writer, job, steps["element"], first)
        writer.commit(now(500))
        second = measured(writer, meter, job, steps["element"], 2.0, OPEN, None)
        verdict(writer, job, steps["element"], second, judged, "measured again")
        facts = {"needs": ["earth"], "reason": "the case is double insulated", "who": "page"}
        writer.event("overrode", now(600), facts, job=job, step=steps["earth"], who="page", whence="walk")
        note = writer.disclose(job, "note", "Hums.")
        writer.event("noted", now(700), {"note": note}, job=job, step=steps["element"], who="page", whence="walk")
        picture = writer.disclose(job, "photograph", "image/png plate", b"invented picture")
        writer.event("photograph", now(800), {"photograph": picture}, job=job, who="page", whence="page")
        writer.outcomes(other, [Rejected(0, b"\x55", 2.0, "too short")], job, steps["element"])
        writer.sent(other, b"READ?\n", 2.5, job, steps["element"])
        writer.commit(now(900))
    job, _ = writer.open_job("K-9", PROCEDURE, {}, {"owner": "Gone"}, now(1000))
    writer.commit(now(1000))
    erased, _ = writer.erase(job)
    writer.event("erased", now(1100), {"digests": erased}, job=job, who="owner", whence="page")
    writer.read_again(meter, ("p", "profile: d\n"), [(0, 1, frame(0, 7, 0.0).readings[0])], "a table", now(1200), "cli")
    writer.close_job(job, now(1300), {"ref": "K-9"}, "repairer", "page")
    writer.close(now(1400))
    return path


@pytest.fixture(scope="module")
def opened(record):
    """The record in memory, with nothing that refuses; each test rolls back what it did."""
    memory = open_in_memory()
    with contextlib.closing(sqlite3.connect(record)) as db:
        db.backup(memory)
    for (name,) in memory.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        memory.execute(f'DROP TRIGGER "{name}"')
    memory.execute("PRAGMA ignore_check_constraints = ON")
    memory.row_factory = sqlite3.Row
    yield memory
    memory.close()


@pytest.fixture
def db(opened):
    opened.execute("BEGIN")
    yield opened
    opened.execute("ROLLBACK")


def findings(db):
    return [str(finding) for check in ROW_CHECKS for finding in audit.as_far_as_it_goes(check.__name__, check(db))]


def test_an_untouched_record_has_none(db):
    assert findings(db) == []


COLUMNS = {
    "bench": "id identity made_utc first_seal parent",
    "text": "sha256 kind name body id",
    "instrument": "id name profile facts",
    "link": "id instrument url opened_utc_ms opened_monotonic_ms boot",
    "job": "id ref appliance procedure plate digests opened_utc_ms",
    "step": "id job position key title kind points quantity limits",
    "form": "id channel quantity mode unit scale offset decimals width negative_zero bound flags range range_top",
    "chunk": "id link job step at first_reading readings raw",
    "reading": "id chunk at form counts place length",
    "unread": "id chunk at kind reason place length",
    "sent": "id chunk at place raw",
    "capture": "id job step link form counts count spread deviation started ended first_reading last_reading how proof "
    "timing",
    "verdict": "id job step capture outcome why result context procedure profile facts program supersedes reason "
    "at_utc_ms",
    "event": "id at_utc_ms monotonic_ms boot kind job step link who whence facts",
    "reread": "id event link start reading form counts",
    "seal": "number line acts",
    "leaf": "seal place job number kind subject",
    "disclosure": "digest job salt name value content",
}
EVERY = [(table, column) for table, columns in COLUMNS.items() for column in columns.split()]


def test_every_column_of_every_table_is_tried(db):
    made = {
        (table, row["name"])
        for (table,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        for row in db.execute(f"PRAGMA table_info({table})")
        if table not in ("_sqlite_migrations", "power_of_ten") and not table.startswith("job_words")
    }
    assert made == set(EVERY)


def others(value, same_column):
    """Values that could stand in a row instead: another number, one letter more, a bit turned, another row's."""
    if isinstance(value, int):
        yield value + 1000
    elif isinstance(value, float):
        yield value + 0.125
    elif isinstance(value, bytes):
        yield bytes([value[0] ^ 1]) + value[1:]
    elif isinstance(value, str):
        yield value + "x"
    else:
        yield from (1, 1.5, "x", b"x")
    yield from (other for other in same_column if other != value)


def rows_of(db, table):
    key = "rowid" if table != "leaf" else "seal * 1000 + place"
    return key, db.execute(f"SELECT {key} AS at, * FROM {table} ORDER BY {key}").fetchall()


@pytest.mark.parametrize(("table", "column"), EVERY)
def test_a_changed_column_is_named(db, table, column):
    key, rows = rows_of(db, table)
    tried = 0
    for row in rows[:: max(1, len(rows) // 3)]:
        for value in list(others(row[column], {each[column] for each in rows}))[:4]:
            db.execute("SAVEPOINT one")
            with contextlib.suppress(sqlite3.IntegrityError):  # the type, or a rule of the table itself, refuses it
                db.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = ?", [value, row["at"]])
                found = findings(db)
                assert found, (table, column, row[column], value)
                assert names(table, row, "\n".join(found)), (table, column, value, found)
                tried += 1
            db.execute("ROLLBACK TO one")
    assert tried


@pytest.mark.parametrize("table", COLUMNS)
def test_a_row_that_is_taken_out_is_named(db, table):
    key, rows = rows_of(db, table)
    for row in rows:
        db.execute("SAVEPOINT one")
        db.execute(f"DELETE FROM {table} WHERE {key} = ?", [row["at"]])
        found = "\n".join(findings(db))
        assert names(table, row, found), (table, tuple(row), found)
        db.execute("ROLLBACK TO one")


@pytest.mark.parametrize("table", COLUMNS)
def test_a_row_that_is_put_in_is_named(db, table):
    """A copy of a row under a free key: the most plausible forgery there is."""
    _, rows = rows_of(db, table)
    row = dict(rows[-1])
    free = {"seal": "number", "leaf": "place", "disclosure": "digest"}.get(table, "id")
    row[free] = "ab" * 32 if free == "digest" else row[free] + 1000
    if table == "leaf":
        row["subject"] += 1000
    if table == "text":
        row["sha256"] = "cd" * 32
    if table == "bench":
        row["identity"] = "ef" * 16
    if table == "job":
        row["ref"] = "K-10"
    if table == "step":
        row["position"] = 9
    columns = COLUMNS[table].split()
    marks = ", ".join(f":{name}" for name in columns)
    db.execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", row)
    found = "\n".join(findings(db))
    assert names(table, row, found), found


def names(table, row, found):
    """Whether the findings name a row, the one that is sealed for it, or the commit that it stood in."""
    text = found.lower()
    if table == "leaf":
        return f"seal {row['seal']}" in text or f"{row['kind']} {row['subject']}" in text
    if table == "disclosure":
        return str(row["digest"])[:8] in text
    if table == "text":
        return f"text {row['id']}" in text or f"text {row['name']}" in text
    said = {
        "chunk": [f"readings {row['id']}", f"chunk {row['id']}"] if table == "chunk" else [],
        "step": [f"steps {row['job']}", f"step {row['id']}"] if table == "step" else [],
        "seal": [f"seal {row['number']}", f"seal {row['number'] + 1}"] if table == "seal" else [],
        "reread": [f"event {row['event']}", f"reread {row['id']}"] if table == "reread" else [],
    }.get(table)
    if said is None and table in ("reading", "unread", "sent"):
        said = [f"readings {row['chunk']}", f"chunk {row['chunk']}", f"{table} {row['id']}"]
    if table == "seal" and said and "seal" not in text and "is under no seal" not in text:
        said.append("is not there")
    return any(each in text for each in said or [f"{table} {row['id']}"])


MOVED = [
    ("a note shown with another job",
     "UPDATE disclosure SET job = 2 WHERE job = 1 AND name = 'note'", "stands in no act and no job of the record"),
    ("a photograph replaced by another with its own fitting digest",
     "DELETE FROM disclosure WHERE name = 'photograph' AND job = 1", "of job 1: is gone, and no act erased it"),
    ("an owner taken out", "DELETE FROM disclosure WHERE name = 'owner' AND job = 1", "is gone, and no act erased it"),
    ("owners of two jobs changed for one another",
     "UPDATE disclosure SET job = 3 - job WHERE name = 'owner' AND job < 3", "stands in no act"),
    ("an override left out with its leaf", "DELETE FROM event WHERE kind = 'overrode'", "event "),
    ("the steps of a job changed for one another",
     "UPDATE step SET id = CASE id WHEN 1 THEN 2 ELSE 1 END + 900 WHERE job = 1", "steps 1"),
    ("a reading moved to another chunk", "UPDATE reading SET chunk = 2 WHERE id = 1", "a reading was moved"),
    ("the powers that the views put the point by",
     "UPDATE power_of_ten SET n = 10000 WHERE decimals = 3", "its powers"),
    ("the last seal cut off alone", "DELETE FROM seal WHERE number = (SELECT max(number) FROM seal)", "is not there"),
]  # fmt: skip


@pytest.mark.parametrize(("sql", "finding"), [case[1:] for case in MOVED], ids=[case[0] for case in MOVED])
def test_what_is_moved_or_left_out_is_named(db, sql, finding):
    assert db.execute(sql).rowcount
    assert finding in "\n".join(findings(db))


SCHEMA = [
    ("DROP VIEW verdicts; CREATE VIEW verdicts AS SELECT *, 'pass' AS outcome FROM verdict",
     "view verdicts: was rewritten"),
    ("DROP VIEW readings; CREATE VIEW readings AS SELECT id, counts * 10 AS shown FROM reading",
     "view readings: was rewritten"),
    ("DROP VIEW captures", "view captures: is gone"),
    ("DROP TRIGGER verdict_refuses_update", "trigger verdict_refuses_update: is gone"),
    ("CREATE TRIGGER quiet AFTER INSERT ON event BEGIN DELETE FROM disclosure; END", "trigger quiet: was put in"),
    ("CREATE TABLE other (x)", "table other: was put in by another program"),
    ("DROP INDEX leaf_of_row", "index leaf_of_row: is gone"),
    ("PRAGMA user_version = 1", "was put in by another program"),
]  # fmt: skip


@pytest.mark.parametrize(("sql", "finding"), SCHEMA)
def test_views_and_triggers_are_those_that_this_program_makes(record, tmp_path, sql, finding):
    path = tmp_path / "copy.db"
    path.write_bytes(record.read_bytes())
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.executescript(sql)
        db.row_factory = sqlite3.Row
        assert finding in "\n".join(map(str, evidence.check_schema(db)))


WORDS = [
    "INSERT INTO job_words (job_words, rowid, ref, appliance, plate) "
    "SELECT 'delete', id, ref, appliance, plate FROM job",
    "INSERT INTO job_words (rowid, ref, appliance, plate) SELECT id, 'another', '', '' FROM job",
]


@pytest.mark.parametrize("sql", WORDS, ids=["taken out", "put in"])
def test_the_words_that_a_job_is_found_by_are_its_own(record, tmp_path, sql):
    path = tmp_path / "copy.db"
    path.write_bytes(record.read_bytes())
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.row_factory = sqlite3.Row
        assert list(evidence.check_words(db)) == []
        assert db.execute(sql).rowcount
        assert {found.what for found in evidence.check_words(db)} == {"is found by other words than its own"}


def test_the_record_as_it_was_made_has_the_schema_of_its_layout(record):
    with contextlib.closing(sqlite3.connect(record)) as db:
        db.row_factory = sqlite3.Row
        assert list(evidence.check_schema(db)) == []


def test_every_row_names_its_bench_and_commit(record):
    """By its kind of leaf, and in the typed records alike; the header line of that commit is the one that seals it."""
    with reading(record) as reader:
        bench = reader.identities()[-1]
        seals = list(reader.seals())
        for kind, table in {**TABLES, "steps": "job"}.items():
            with contextlib.closing(sqlite3.connect(record)) as db:
                ids = [row[0] for row in db.execute(f"SELECT id FROM {table}")]
            assert ids
            for number in ids:
                commit = reader.commit_of(kind, number)
                assert commit.bench == bench
                assert seals[commit.number].split(" ")[2:4] == [bench, str(commit.number)]
        for kind, kept in (
            ("job", reader.jobs()), ("capture", reader.captures()), ("verdict", reader.verdicts()),
            ("event", reader.acts()),
        ):  # fmt: skip
            assert [each.commit for each in kept] == [reader.commit_of(kind, each.id) for each in kept]


def test_rows_put_in_by_another_program_are_not_sealed_at_the_next_start(record, tmp_path):
    """What stands without a leaf is taken up once, when an older record is upgraded; never again."""
    path = tmp_path / "copy.db"
    path.write_bytes(record.read_bytes())
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute(
            "INSERT INTO text (sha256, kind, name, body, id) VALUES (?, 'profile', 'forged', 'x', 99)", ["0" * 64]
        )
    writer = Writer(path, now(9000))
    writer.event("noted", now(9000), {}, whence="test")
    writer.close(now(9100))
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.row_factory = sqlite3.Row
        assert "text 99: is under no seal" in findings(db)


@pytest.mark.parametrize("table", ["unread", "sent"])
def test_what_belongs_to_a_chunk_is_found_by_it(table):
    """A record of a week holds as many of them as commits: a scan for each would never end."""
    with contextlib.closing(open_in_memory()) as db:
        run_missing(db)
        plan = db.execute(f"EXPLAIN QUERY PLAN SELECT * FROM {table} WHERE chunk IN (SELECT 1)").fetchall()
    assert any(f"USING INDEX {table}_of_chunk" in row[3] for row in plan)
