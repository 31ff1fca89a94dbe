"""A kept job changed behind the program's back: the audit tells of it in words, whatever was changed into whatever."""

import contextlib
import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from edge.bench import run
from edge.test_old_records import findings, unpacked
from edge.test_store import now

from meterlog.store.writer import Writer

VALUES = [None, 123456, "zzz", b"\xff\x00", -1.5]


@pytest.fixture(scope="module")
def taken_up(tmp_path_factory):
    """A kept record of the demo with three jobs, as an earlier commit made it and this one took it up."""
    path = unpacked("60109d7-demo.db", tmp_path_factory.mktemp("taken"))
    Writer(path, now()).close(now(1))
    return path


@pytest.fixture
def copy(taken_up, tmp_path):
    return Path(shutil.copy(taken_up, tmp_path / "copy.db"))


def changed(path, sql, *values):
    """How many rows a statement changes when nothing refuses it; the refusing triggers stand again afterwards."""
    db = sqlite3.connect(path, isolation_level=None)
    triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        db.execute(f'DROP TRIGGER "{name}"')
    db.execute("PRAGMA ignore_check_constraints = ON")
    try:
        count = db.execute(sql, values).rowcount
    except sqlite3.IntegrityError:
        count = 0  # the type, or a rule of the table itself, refuses it
    for _, made in triggers:
        db.execute(made)
    db.close()
    return count


def a_row(path, rng):
    """A random row of a table that is evidence: (table, its columns, a condition for it, the values of that)."""
    with contextlib.closing(sqlite3.connect(path)) as db:
        names = db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'job%words%'"
        ).fetchall()
        rows = {name: db.execute(f"SELECT * FROM {name}") for (name,) in names if name != "_sqlite_migrations"}
        found = {name: (cursor.description, cursor.fetchall()) for name, cursor in rows.items()}
    table = rng.choice(sorted(name for name, (_, rows) in found.items() if rows))
    columns = [column[0] for column in found[table][0]]
    return table, columns, " AND ".join(f"{column} IS ?" for column in columns), rng.choice(found[table][1])


@pytest.mark.parametrize("seed", range(20))
def test_whatever_is_changed_is_found(copy, seed):
    rng, count = random.Random(seed), 0
    while not count:
        table, columns, where, row = a_row(copy, rng)
        column, value = rng.choice(columns), rng.choice(VALUES)
        if value != row[columns.index(column)]:
            count = changed(copy, f"UPDATE {table} SET {column} = ? WHERE {where}", value, *row)
    assert findings(copy), (table, column, value)


@pytest.mark.parametrize("seed", range(8))
def test_whatever_is_taken_out_is_found(copy, seed):
    table, _, where, row = a_row(copy, random.Random(seed))
    assert changed(copy, f"DELETE FROM {table} WHERE {where}", *row)
    assert findings(copy), table


@pytest.mark.parametrize(
    ("sql", "finding"),
    [
        ("UPDATE step SET points = 'plug earth pin – lid' WHERE key = 'protective-conductor' AND job = 1",
         "job kitchen-oven: its steps are not those of its procedure"),
        ("UPDATE power_of_ten SET n = 10000 WHERE decimals = 3",
         "power_of_ten: its powers were changed: what the views show is not what was shown"),
        ("UPDATE verdict SET result = 'no JSON' WHERE id = 5",
         "verdict 5: can't be reached again: JSONDecodeError, Expecting value: line 1 column 1 (char 0)"),
        ("UPDATE chunk SET job = NULL WHERE id = (SELECT max(id) FROM chunk WHERE job = 1)", "moved to another job"),
        ("UPDATE event SET job = 2 WHERE id = (SELECT max(id) FROM event WHERE job = 1)", "moved to another job"),
        ("DELETE FROM bench", "bench: no identity is kept"),
    ],
)  # fmt: skip
def test_a_finding_says_where(copy, sql, finding):
    assert changed(copy, sql)
    assert finding in "\n".join(findings(copy))


def damaged(path, begin, count):
    content = bytearray(path.read_bytes())
    content[begin : begin + count] = b"\xaa" * count
    path.write_bytes(content)


def test_a_damaged_file_is_told_in_words(copy):
    damaged(copy, copy.stat().st_size // 3, 40_000)
    audited = run("audit", "--db", str(copy), check=False)
    assert (audited.returncode, audited.stderr) == (1, "the file is damaged\n")
    assert "malformed" in audited.stdout
    listed = run("job", "list", "--db", str(copy), check=False)
    assert (listed.returncode, listed.stderr) == (
        3,
        "the database can't be used: database disk image is malformed\n"
        "  keep it, and go on with the last copy that passes: meterlog audit\n",
    )


def test_another_programs_database_is_no_bench(tmp_path):
    with sqlite3.connect(tmp_path / "other.db") as db:
        db.execute("CREATE TABLE other (a)")
    for words in (("job", "list"), ("audit",), ("verdict", "show", "1")):
        done = run(*words, "--db", str(tmp_path / "other.db"), check=False)
        assert (done.returncode, done.stderr) == (
            3,
            f"{tmp_path}/other.db holds no bench\n  give the database of a bench with --db PATH\n",
        )
