"""Records made by earlier commits are read as they are, taken up, and sealed whole from then on."""

import contextlib
import gzip
import sqlite3
from pathlib import Path

import pytest
from edge.test_store import now

from meterlog.record.keptjob import job_at_hand, kept_job
from meterlog.store import sqlite
from meterlog.store.audit import audit
from meterlog.store.layout import migrate, schema_of
from meterlog.store.reader import reading
from meterlog.store.schema import KNOWN_VERSION
from meterlog.store.sqlite import open_reader
from meterlog.store.writer import Writer

KEPT = Path(__file__).parents[1] / "old_records"
RECORDS = sorted(path.name.removesuffix(".gz") for path in KEPT.glob("*.db.gz"))

SEALED_WHOLE = ("63b7b5f-demo.db",)
"""Those whose every row was under a seal already: nothing is sealed anew."""


def unpacked(name, folder):
    for path in KEPT.glob(f"{name}*.gz"):
        (folder / path.name.removesuffix(".gz")).write_bytes(gzip.decompress(path.read_bytes()))
    return folder / name


def findings(path):
    with contextlib.closing(open_reader(path)) as db:
        return [str(finding) for finding in audit(db) if not finding.remark]


@pytest.mark.parametrize("name", RECORDS)
def test_an_old_record_is_audited_as_it_is(name, tmp_path):
    assert findings(unpacked(name, tmp_path)) == []


def test_what_todays_methods_come_to_is_told_apart_from_changes(tmp_path):
    path = unpacked("60109d7-demo.db", tmp_path)
    with contextlib.closing(open_reader(path)) as db:
        remarks = [str(finding) for finding in audit(db) if finding.remark]
    assert remarks
    assert all("concluded by meterlog 0.1.0, comes out otherwise by " in remark for remark in remarks)


@pytest.mark.parametrize("name", RECORDS)
def test_an_old_record_is_taken_up_once_and_sealed_whole(name, tmp_path):
    path = unpacked(name, tmp_path)
    Writer(path, now()).close(now(1))
    with contextlib.closing(open_reader(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == KNOWN_VERSION
        seals = db.execute("SELECT count(*) FROM seal").fetchone()[0]
        upgraded = db.execute("SELECT count(*) FROM event WHERE kind = 'record upgraded'").fetchone()[0]
        assert upgraded == (name not in SEALED_WHOLE)
    assert findings(path) == []
    Writer(path, now(2)).close(now(3))
    with contextlib.closing(open_reader(path)) as db:
        assert db.execute("SELECT count(*) FROM seal").fetchone()[0] == seals


def test_a_death_between_bringing_up_and_sealing_is_made_good_at_the_next_start(tmp_path):
    path = unpacked("60109d7-killed.db", tmp_path)
    db = sqlite.open_writer(path)
    migrate(db)
    db.close()
    assert "bench 1: is under no seal" in findings(path)
    Writer(path, now()).close(now(1))
    assert findings(path) == []


@pytest.mark.parametrize("name", RECORDS)
def test_every_job_of_an_old_record_can_be_gone_on_with(name, tmp_path):
    path = unpacked(name, tmp_path)
    with reading(path) as reader:
        jobs = reader.jobs()
        assert jobs
        for job in jobs:
            assert kept_job(reader, job.ref).procedure.steps


def test_the_job_that_was_open_is_taken_up(tmp_path):
    path = unpacked("60109d7-killed.db", tmp_path)
    with reading(path) as reader:
        kept = job_at_hand(reader)
    assert kept.ref == "O-3"
    writer = Writer(path, now())
    job, _ = writer.resume_job("O-3")
    writer.event("job resumed", now(1), {"ref": "O-3"}, job=job)
    writer.close_job(job, now(2), {"ref": "O-3"}, "repairer", "test")
    writer.close(now(3))
    assert findings(path) == []
    with reading(path) as reader:
        assert job_at_hand(reader) is None


@pytest.mark.parametrize(
    ("sql", "finding"),
    [
        ("DELETE FROM disclosure WHERE name = 'telephone'", "is gone, and no act erased it"),
        ("UPDATE disclosure SET job = 2 WHERE name = 'owner'", "stands in no act and no job"),
        ("UPDATE bench SET made_utc = '2020-01-01T00:00:00Z'", "bench 1"),
        ("UPDATE text SET name = 'another' WHERE id = 1", "text 1"),
        ("UPDATE instrument SET name = 'another'", "instrument 1"),
        ("UPDATE step SET title = 'another' WHERE id = 1", "steps 1"),
    ],
)
def test_what_was_under_no_seal_is_so_once_it_was_taken_up(tmp_path, sql, finding):
    path = unpacked("60109d7-killed.db", tmp_path)
    Writer(path, now()).close(now(1))
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        assert db.execute(sql).rowcount
        for _, made in triggers:
            db.execute(made)
    assert finding in "\n".join(findings(path))


def test_an_upgraded_record_has_the_schema_of_a_new_one(tmp_path):
    path = unpacked("60109d7-demo.db", tmp_path)
    Writer(path, now()).close(now(1))
    with contextlib.closing(open_reader(path)) as db:
        rows = db.execute("SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'").fetchall()
    assert {(kind, name): sql for kind, name, sql in rows} == schema_of(KNOWN_VERSION)
