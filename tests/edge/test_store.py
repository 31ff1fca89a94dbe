"""The store keeps, seals and refuses; a changed bit is found and named."""

import sqlite3
from base64 import b64encode
from pathlib import Path

import pytest

from meterlog.base.errors import BenchBusy, CannotDo
from meterlog.base.readings import Bound, Capture, Form, Frame, Reading, Rejected, Skipped, Timing
from meterlog.procedure import kinds
from meterlog.procedure.steps import Procedure, Step
from meterlog.record.revisit import Revisit
from meterlog.record.writer import Now
from meterlog.store import audit, evidence, sqlite
from meterlog.store.reader import StoredRecord
from meterlog.store.writer import DIGESTS_A_JOB, FOLD_MS, Writer

PROFILES = Path(__file__).parents[2] / "profiles" / "instruments"
OHMS = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=3)
OPEN = Form(quantity="resistance", unit="Mohm", scale=1e6, bound=Bound.OVERLOAD, range_top=6e7)
PROCEDURE = Procedure(
    key="bench-check",
    title="An invented check",
    appliance="invented heater",
    source="invented",
    cautions=(),
    steps=(
        Step(key="element", title="Element", kind=kinds.MEASURE, points=("L", "N"), quantity="resistance"),
        Step(key="earth", title="Earth", kind=kinds.MEASURE, points=("E", "case"), quantity="resistance"),
    ),
    text="procedure: bench-check\n",
)


def now(ms=0):
    return Now(1_790_000_000_000 + ms, 5_000 + ms, "boot")


def frame(start, counts, at, form=OHMS):
    return Frame(start, b"\x55" + bytes([counts % 256, counts // 256]), at, (Reading(form, counts),))


@pytest.fixture
def path(tmp_path):
    return tmp_path / "bench.db"


@pytest.fixture
def written(path):
    """A database with two links, a job, captures, a verdict, noise and a personal field."""
    writer = Writer(path, now())
    ohms = writer.open_link("multimeter", "profile: a\n", "accuracy: x\n", "loop://", now())
    temp = writer.open_link("thermometer", "profile: b\n", "", "loop://", now())
    writer.outcomes(ohms, [Skipped(0, b"\xff\xfe", 0.1), frame(2, 420, 0.25)], None, None)
    writer.commit(now(300))
    job, steps = writer.open_job("K-7", PROCEDURE, {"rated_power": "900 W"}, {"owner": "Invented Owner"}, now(400))
    for i in range(6):
        writer.outcomes(ohms, [frame(5 + 3 * i, 420 + i % 2, 0.5 + i / 4)], job, steps["element"])
        writer.outcomes(temp, [frame(3 * i, 215, 0.5 + i / 4)], job, steps["element"])
    writer.outcomes(ohms, [Rejected(23, b"\x55\x00", 2.0, "byte 2: expected 0x01, saw 0x00")], job, steps["element"])
    writer.sent(ohms, b"READ?\n", 2.0, job, steps["element"])
    capture = Capture(
        form=OHMS, counts=420, count=5, spread=0.001, deviation=0.0005, started=0.75, ended=1.75, first=2, last=6,
        how="settled",
    )  # fmt: skip
    number = writer.capture(job, steps["element"], ohms, capture)
    row = {
        "outcome": "pass",
        "why": "below the limit",
        "result": "{}",
        "context": "{}",
        "procedure": writer.keep_text("procedure", "x", PROCEDURE.text),
        "profile": None,
        "facts": None,
        "program": "0.1.0",
        "supersedes": None,
        "reason": "",
    }
    writer.verdict(job, steps["element"], number, row, now(2100))
    writer.commit(now(2200))
    writer.close_job(job, now(2300), {}, "repairer", "test")
    writer.close(now(2400))
    return path


def findings(path):
    db = sqlite.open_reader(path)
    try:
        return [str(f) for check in audit.STORED if check is not evidence.check_schema for f in check(db)]
    finally:
        db.close()


def test_what_was_kept_reads_back(written):
    db = sqlite.open_reader(written)
    shown = db.execute("SELECT instrument, shown, unit, job, step, frame FROM readings WHERE id = 1").fetchone()
    assert tuple(shown) == ("multimeter", "0.420", "ohm", None, None, "55A401")
    capture = db.execute("SELECT job, step, points, shown, first_reading, last_reading FROM captures").fetchone()
    first, last = capture[4], capture[5]
    assert tuple(capture)[:4] == ("K-7", "element", "L – N", "0.420")
    rows = db.execute("SELECT instrument, shown FROM readings WHERE id BETWEEN ? AND ?", [first, last]).fetchall()
    assert {row[0] for row in rows} == {"multimeter"}
    assert [row[1] for row in rows] == ["0.421", "0.420", "0.421", "0.420", "0.421"]
    db.close()


def test_every_byte_is_accounted_for(written):
    db = sqlite.open_reader(written)
    for chunk in db.execute("SELECT id, raw FROM chunk").fetchall():
        spans = db.execute("SELECT DISTINCT place, length FROM reading WHERE chunk = ?", [chunk[0]]).fetchall()
        spans += db.execute("SELECT place, length FROM unread WHERE chunk = ?", [chunk[0]]).fetchall()
        at = 0
        for place, length in sorted(map(tuple, spans)):
            assert place == at
            at += length
        assert at == len(chunk[1])
    db.close()


def test_an_untouched_database_has_no_findings(written):
    assert findings(written) == []


@pytest.mark.parametrize(
    "table", ["reading", "chunk", "capture", "verdict", "event", "job", "seal", "leaf", "text", "form"]
)
@pytest.mark.parametrize(
    "change", ["DELETE FROM {t}", "UPDATE {t} SET rowid = rowid", "INSERT OR REPLACE INTO {t} SELECT * FROM {t}"]
)
def test_evidence_refuses_change(written, table, change):
    if table == "leaf":
        change = change.replace("rowid = rowid", "place = place")
    db = sqlite3.connect(written)
    with pytest.raises(sqlite3.IntegrityError, match=f"{table} is evidence: nothing recorded is changed or deleted"):
        db.execute(change.format(t=table))
    db.close()


CHANGES = [  # a change made by force, and the finding that names it
    ("UPDATE reading SET counts = counts + 1 WHERE id = 4", "seal 1: its rows were changed"),
    ("UPDATE chunk SET raw = x'00fe5501a4' WHERE id = 1", "seal 0: its rows were changed"),
    ("UPDATE form SET unit = 'kohm', scale = 1000.0", "seal 0: its rows were changed"),
    ("UPDATE capture SET counts = 421", "seal 1: its rows were changed"),
    ("UPDATE verdict SET outcome = 'fail'", "seal 1: its rows were changed"),
    ("UPDATE link SET opened_utc_ms = 0 WHERE id = 1", "seal 0: its rows were changed"),
    ("UPDATE unread SET reason = 'x' WHERE kind = 'rejected'", "seal 1: its rows were changed"),
    ("DELETE FROM reading WHERE id = 1", "seal 0: its rows were changed"),
    ("DELETE FROM leaf WHERE kind = 'verdict'", "seal 1: sealed 7 leaves, 6 are there"),
    ("DELETE FROM seal WHERE number = 1", "seal 2: expected seal 1: one or more are missing"),
    ("UPDATE text SET body = body || ' ' WHERE kind = 'profile'", "text multimeter: its bytes do not give its hash"),
    ("UPDATE disclosure SET value = 'Another' WHERE name = 'owner'", "personal field owner ("),
]


@pytest.mark.parametrize(("change", "finding"), CHANGES)
def test_a_change_by_force_is_found_and_named(written, change, finding):
    db = sqlite3.connect(written)
    for (trigger,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {trigger}")
    db.execute(change)
    db.commit()
    db.close()
    assert any(found.startswith(finding) for found in findings(written)), findings(written)


def test_a_second_writer_is_refused_and_told_of_the_first(path):
    writer = Writer(path, now())
    with pytest.raises(BenchBusy, match=r"already written by another daemon \(process \d+, started 2026"):
        Writer(path, now())
    writer.close(now())
    Writer(path, now()).close(now())


class NoRoomToFold:
    """A connection on a disk that has room for the log's next page and none for the file's."""

    def __init__(self, db):
        self._db = db

    def execute(self, sql, *values):
        if "wal_checkpoint" in sql:
            raise sqlite.OperationalError("database or disk is full")
        return self._db.execute(sql, *values)

    def __getattr__(self, name):
        return getattr(self._db, name)


def test_a_log_that_cannot_be_folded_for_want_of_room_does_not_undo_what_was_committed(path):
    writer = Writer(path, now())
    writer._db = NoRoomToFold(writer._db)
    writer.event("noted", now(), {"text": "written"})
    seal = writer.commit(now(2 * FOLD_MS))
    assert seal is not None
    assert writer.commit(now(4 * FOLD_MS)) is None
    writer.close(now(4 * FOLD_MS))


def test_a_long_run_goes_on_over_a_link_that_was_opened_again(path):
    """Six readings a quarter second apart, the link lost after three; taken when the second link has ended too."""
    writer = Writer(path, now())
    job, steps = writer.open_job("K-7", PROCEDURE, {}, {}, now())
    for turn in range(2):
        link = writer.open_link("multimeter", "profile: a\n", "accuracy: x\n", "loop://", now(1000 * turn))
        for i in range(3):
            writer.outcomes(link, [frame(3 * i, 420 + 10 * turn + i, i / 4)], job, steps["element"])
        writer.close_link(link)
        writer.commit(now(1000 * turn + 900))
    capture = Capture(
        form=OHMS, counts=422, count=6, spread=0.012, deviation=0.0, started=-1.0, ended=0.5, first=0, last=5, how="x"
    )
    number = writer.capture(job, steps["element"], link, capture)
    writer.close(now(3000))
    db = sqlite.open_reader(path)
    reader = StoredRecord(db)
    run = reader.run(reader.capture(number))
    db.close()
    assert [(at, reading.counts) for at, reading in run] == [
        (-1.0, 420), (-0.75, 421), (-0.5, 422), (0.0, 430), (0.25, 431), (0.5, 432),
    ]  # fmt: skip


def test_another_programs_database_is_left_alone(path):
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE other (x)")
    db.close()
    with pytest.raises(CannotDo, match="another program's tables"):
        Writer(path, now())


def test_a_newer_layout_is_left_alone(written):
    db = sqlite3.connect(written)
    db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(CannotDo, match="made by a newer meterlog"):
        Writer(written, now())


def test_an_erased_name_is_nowhere_in_the_files(written):
    name = "Invented Owner"
    shapes = [name.encode(), name.encode("utf-16-le"), name.encode().hex().encode(), b64encode(name.encode())]
    assert any(shape in written.read_bytes() for shape in shapes)
    writer = Writer(written, now(5000))
    job, _ = writer.resume_job("K-7")
    writer.disclose(job, "note", name)  # waits for the same commit: it must never get there
    erased, fields = writer.erase(job)
    assert (len(erased), fields) == (DIGESTS_A_JOB + 1, 2)
    writer.event("erased", now(5000), {"digests": erased}, job=job, who="owner", whence="test")
    writer.commit(now(5100))
    writer.close(now(5200))
    assert not any(shape in file.read_bytes() for shape in shapes for file in written.parent.iterdir())
    assert findings(written) == []


@pytest.mark.parametrize("timing", [None, Timing(1.0, 3.0, 0.1, 0.1), Timing(1.0, 3.0, 0.1, 0.1, (("first", 0.5),))])
def test_what_a_power_meter_read_meanwhile_is_found_on_the_runs_own_clock(path, timing):
    """Two links opened 1.5 s apart: the meter's reading at its 2.0 s is the thermometer's 3.5 s."""
    celsius = Form(quantity="temperature", unit="degC", scale=1.0, offset=273.15, decimals=1)
    watts = Form(quantity="power", unit="W", scale=1.0)
    profile = (PROFILES / "ascii-thermometer.yaml").read_text()
    writer = Writer(path, now())
    thermometer = writer.open_link("thermometer", profile, "{}", "loop://", now())
    meter = writer.open_link("power meter", profile, "{}", "loop://", now(1500))
    job, steps = writer.open_job("K-9", PROCEDURE, {}, {}, now())
    for second in range(6):
        writer.outcomes(thermometer, [frame(0, 200 + second, float(second), celsius)], job, steps["element"])
        writer.outcomes(meter, [frame(0, 1400 + second, float(second), watts)], job, steps["element"])
    run = Capture(
        form=celsius, counts=205, count=6, spread=0.5, deviation=0.2, started=0.0, ended=5.0, first=0, last=5,
        how="heating run", timing=timing,
    )  # fmt: skip
    number = writer.capture(job, steps["element"], thermometer, run)
    writer.close(now(9000))
    db = sqlite.open_reader(path)
    revisit = Revisit(StoredRecord(db))
    kept = revisit.capture(number)
    beside = revisit.answer(kept).beside()
    db.close()
    assert kept.capture.timing == timing
    assert [(at, reading.counts) for at, reading in beside] == [(1.5, 1400), (2.5, 1401), (3.5, 1402), (4.5, 1403)]


def test_a_file_that_is_no_database_is_called_so(tmp_path):
    path = tmp_path / "bench.db"
    path.write_text("notes of the bench, not a database")
    with pytest.raises(CannotDo) as refused:
        sqlite.open_reader(path)
    assert refused.value.hint == "give the database of a bench with --db PATH"
