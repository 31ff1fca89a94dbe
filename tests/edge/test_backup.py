"""Copies of a record while it is written, and a record taken up again from one."""

import contextlib
import json
import threading

import pytest
from edge.test_old_records import findings, unpacked
from edge.test_sealed import ROW_CHECKS
from edge.test_store import PROCEDURE, frame, now

from meterlog.base.errors import CannotDo
from meterlog.files import keys
from meterlog.record.head import head_of
from meterlog.record.verify import CheckResult, verify
from meterlog.report import bagfile
from meterlog.store.audit import check_head
from meterlog.store.backup import backup, restore
from meterlog.store.reader import StoredRecord, reading
from meterlog.store.sqlite import open_reader
from meterlog.store.writer import FOLD_MS, Writer


def filled(path, ref="K-7", commits=20):
    writer = Writer(path, now())
    link = writer.open_link("multimeter", "profile: a\n", "{}", "loop://", now())
    job, steps = writer.open_job(ref, PROCEDURE, {}, {"owner": "Invented Owner"}, now())
    for i in range(commits):
        writer.outcomes(link, [frame(3 * i, 420, i / 4)], job, steps["element"])
        writer.commit(now(i))
    return writer


def sound(path):
    with contextlib.closing(open_reader(path)) as db:
        return [str(finding) for check in ROW_CHECKS for finding in check(db)]


def head_now(path):
    with reading(path) as reader:
        return head_of(reader.identities()[-1], reader.seals())


def test_a_copy_is_whole_while_the_record_is_written(tmp_path):
    writer = filled(tmp_path / "bench.db", commits=3)
    link = writer.open_link("scale", "profile: b\n", "{}", "loop://", now())
    ended = threading.Event()

    def write():
        at = 0
        while not ended.is_set():
            writer.outcomes(link, [frame(3 * at + i, 420, at / 4) for i in range(50)], None, None)
            writer.commit(now(at))
            at += 1

    thread = threading.Thread(target=write)
    thread.start()
    try:
        heads = [backup(tmp_path / "bench.db", tmp_path / f"copy-{n}.db") for n in range(5)]
    finally:
        ended.set()
        thread.join()
    writer.close(now(10_000))
    for number, head in enumerate(heads):
        copy = tmp_path / f"copy-{number}.db"
        assert sound(copy) == []
        assert head_now(copy) == head
        with contextlib.closing(open_reader(tmp_path / "bench.db")) as db:
            assert list(check_head(db, head)) == []
    assert heads[0].size < heads[-1].size


def test_an_older_copy_is_never_overwritten(tmp_path):
    filled(tmp_path / "bench.db").close(now(100))
    backup(tmp_path / "bench.db", tmp_path / "copy.db")
    with pytest.raises(CannotDo, match="is there already"):
        backup(tmp_path / "bench.db", tmp_path / "copy.db")
    with pytest.raises(CannotDo, match="is there already"):
        restore(tmp_path / "copy.db", tmp_path / "bench.db", now(), "test")
    assert not list(tmp_path.glob(".*"))


def test_a_restored_record_goes_on_under_an_identity_that_names_its_parent(tmp_path):
    filled(tmp_path / "bench.db").close(now(100))
    head = backup(tmp_path / "bench.db", tmp_path / "copy.db")
    restored = restore(tmp_path / "copy.db", tmp_path / "again.db", now(200), "test")
    writer = Writer(tmp_path / "again.db", now(300))
    assert writer.bench == restored.bench != head.bench
    job, steps = writer.resume_job("K-7")
    writer.event("noted", now(300), {}, job=job, step=steps["element"])
    writer.close(now(400))
    assert sound(tmp_path / "again.db") == []
    with contextlib.closing(open_reader(tmp_path / "again.db")) as db:
        assert list(check_head(db, head)) == []
        rows = [dict(row) for row in db.execute("SELECT * FROM bench ORDER BY id")]
        assert [row["identity"] for row in rows] == [head.bench, restored.bench]
        assert (rows[1]["parent"], rows[1]["first_seal"]) == (head.bench, head.size)
        acts = StoredRecord(db).acts(kinds=["record restored"])
        assert [act.facts for act in acts] == [{"parent": head.bench, "size": head.size, "root": head.root}]
        assert acts[0].commit == (restored.bench, head.size)
    # the original goes on under its own
    original = Writer(tmp_path / "bench.db", now(500))
    assert original.bench == head.bench
    original.close(now(600))


def test_evidence_of_a_restored_record_is_verified_against_a_sheet_from_before(kept_record, tmp_path):
    head = head_now(kept_record)
    restore(kept_record, tmp_path / "again.db", now(10_000_000), "test")
    with contextlib.closing(open_reader(tmp_path / "again.db")) as db:
        path = tmp_path / "K-7.zip"
        path.write_bytes(bagfile.evidence_zip(db, "K-7", "2026-11-29T12:00:00.000Z", [head]))
    statement, found = verify(bagfile.read_zip(path), keys.check_signature, [(head, "ab" * 32)])
    assert statement.head.bench != head.bench
    assert {each.answer for each in found} == {CheckResult.VERIFIED}


@pytest.fixture
def kept_record(tmp_path):
    import records

    return records.make(tmp_path / "kept.db")


def test_the_log_is_folded_in_now_and_then(tmp_path):
    """The file alone, as somebody might copy it, is behind by a minute at most."""
    writer = filled(tmp_path / "bench.db")
    writer.event("noted", now(FOLD_MS), {})
    writer.commit(now(FOLD_MS))
    alone = tmp_path / "alone.db"
    alone.write_bytes((tmp_path / "bench.db").read_bytes())
    assert head_now(alone).size == head_now(tmp_path / "bench.db").size
    assert sound(alone) == []
    writer.close(now(FOLD_MS + 1))


def test_a_copy_stands_beside_a_record_that_is_brought_up(tmp_path):
    path = unpacked("60109d7-demo.db", tmp_path)
    with reading(path) as reader:
        before = [job.ref for job in reader.jobs()]
    Writer(path, now()).close(now(1))
    copy = path.with_name(path.name + ".layout-1")
    with contextlib.closing(open_reader(copy)) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == 1
        assert [job.ref for job in StoredRecord(db).jobs()] == before
    assert findings(copy) == []


def test_a_file_that_is_no_record_is_not_copied(tmp_path):
    with pytest.raises(CannotDo):
        backup(tmp_path / "nothing.db", tmp_path / "copy.db")
    (tmp_path / "notes.txt").write_text(json.dumps({}))
    with pytest.raises(CannotDo):
        backup(tmp_path / "notes.txt", tmp_path / "copy.db")
    assert not (tmp_path / "copy.db").exists()
