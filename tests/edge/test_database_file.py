"""The database as a file: made whole, one writer by any name, missed when gone, read where nothing can be written."""

import json
import os
import shutil
import subprocess
import sys

import pytest
from edge.bench import run

from meterlog.record.writer import Now
from meterlog.store import sqlite
from meterlog.store.audit import audit
from meterlog.store.schema import KNOWN_VERSION
from meterlog.store.writer import StoreRefuses, Writer


def now():
    return Now(1_790_000_000_000, 5_000, "boot")


@pytest.fixture
def written(tmp_path):
    writer = Writer(tmp_path / "written.db", now())
    writer.event("act note", now(), {"text": "kept"})
    writer.close(now())
    return tmp_path / "written.db"


def test_a_database_deleted_under_the_writer_is_refused_saved_and_told(tmp_path):
    path = tmp_path / "bench.db"
    writer = Writer(path, now())
    writer.event("act note", now(), {"text": "before"})
    writer.commit(now())
    path.unlink()
    writer.event("act note", now(), {"text": "waits"})
    with pytest.raises(StoreRefuses) as caught:
        writer.commit(now())
    [saved] = tmp_path.glob("bench-saved-*.db")
    assert str(caught.value) == (
        f"the database {path} was deleted, replaced or unmounted; all that it held is saved in {saved}; "
        "end the daemon, then look"
    )
    assert facts_in(saved) == ["before"]
    writer.close(now())
    assert facts_in(saved) == ["before", "waits"], "what waited is added when the writer ends"
    assert not path.exists()


def facts_in(path):
    db = sqlite.open_reader(path)
    try:
        assert [str(finding) for finding in audit(db)] == []
        return [json.loads(row[0])["text"] for row in db.execute("SELECT facts FROM event ORDER BY id")]
    finally:
        db.close()


def test_a_database_replaced_under_the_writer_is_left_alone(tmp_path):
    path, other = tmp_path / "bench.db", tmp_path / "other.db"
    Writer(other, now()).close(now())
    writer = Writer(path, now())
    os.replace(other, path)
    before = path.read_bytes()
    writer.event("act note", now(), {"text": "waits"})
    assert not writer.is_in_place
    with pytest.raises(StoreRefuses):
        writer.commit(now())
    writer.close(now())
    assert path.read_bytes() == before
    assert [facts_in(saved) for saved in tmp_path.glob("bench-saved-*.db")] == [["waits"]]


def test_a_database_that_is_back_in_its_place_is_written_again(tmp_path):
    path = tmp_path / "bench.db"
    writer = Writer(path, now())
    path.rename(tmp_path / "moved.db")
    writer.event("act note", now(), {"text": "waits"})
    with pytest.raises(StoreRefuses):
        writer.commit(now())
    (tmp_path / "moved.db").rename(path)
    writer.commit(now())
    writer.close(now())
    assert facts_in(path) == ["waits"]


@pytest.mark.parametrize("name", ["symlink", "folder", "hard link"])
def test_one_file_has_one_writer_by_whatever_name(tmp_path, name):
    path, other = tmp_path / "bench.db", tmp_path / "other.db"
    writer = Writer(path, now(), {"socket": "there"})
    if name == "symlink":
        other.symlink_to(path)
    elif name == "folder":
        (tmp_path / "again").symlink_to(tmp_path)
        other = tmp_path / "again" / "bench.db"
    else:
        os.link(path, other)
    second = "from meterlog.store.writer import Writer, sqlite; from meterlog.record.writer import Now\n" + (
        f"from pathlib import Path; Writer(Path({str(other)!r}), Now(0, 0, 'boot'))"
    )
    done = subprocess.run([sys.executable, "-c", second], capture_output=True, text=True)
    assert "BenchBusy" in done.stderr
    assert "is already written by another daemon" in done.stderr
    writer.event("act note", now(), {"text": "goes on"})
    assert writer.commit(now()) is not None
    if name != "hard link":
        assert sqlite.lock_facts(other)["socket"] == "there", "a client finds its daemon by either name"
    writer.close(now())


def test_a_disk_that_is_full_while_the_database_is_made_leaves_nothing(tmp_path):
    path = tmp_path / "bench.db"
    make = (
        "from meterlog.store.writer import Writer; from meterlog.record.writer import Now; import resource, sys\n"
        + (
            "resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), resource.RLIM_INFINITY))\n"
            f"from pathlib import Path; Writer(Path({str(path)!r}), Now(0, 0, 'boot'))"
        )
    )
    for size in (1, 8192, 40_000, 100_000):
        done = subprocess.run([sys.executable, "-c", make, str(size)], capture_output=True, text=True)
        assert "CannotDo" in done.stderr, (size, done.stderr)
        assert not path.exists(), "half a database is none"
    Writer(path, now()).close(now())
    assert [each.name for each in tmp_path.iterdir() if each.suffix != ".lock"] == ["bench.db"]


def test_another_layout_is_told_by_every_opener(written):
    raw = sqlite.open_writer(written)
    newer = KNOWN_VERSION + 1
    raw.execute(f"PRAGMA user_version = {newer}")
    raw.close()
    said = f"the database was made by a newer meterlog (layout {newer}, known {KNOWN_VERSION})"
    for words in (["audit"], ["job", "list"], ["report", "x"], ["verdict", "show", "1"]):
        done = run(*words, "--db", str(written), check=False)
        assert (done.returncode, done.stderr.splitlines()[0]) == (3, said), words


@pytest.mark.skipif(os.getuid() != 0, reason="mounting needs root")
def test_a_database_on_a_medium_that_cannot_be_written_is_read(written, tmp_path):
    medium = tmp_path / "medium"
    medium.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", medium], check=True)
    try:
        shutil.copy(written, medium / "bench.db")
        subprocess.run(["mount", "-o", "remount,ro", medium], check=True)
        done = run("audit", "--db", str(medium / "bench.db"), check=False)
        assert (done.returncode, done.stderr.splitlines()[-1].endswith("findings: none")) == (0, True)
        subprocess.run(["mount", "-o", "remount,rw", medium], check=True)
        (medium / "bench.db-wal").write_bytes(b"not folded in")
        subprocess.run(["mount", "-o", "remount,ro", medium], check=True)
        done = run("audit", "--db", str(medium / "bench.db"), check=False)
        assert (done.returncode, done.stderr) == (
            3,
            f"{medium}/bench.db was not closed in order, and its folder can't be written\n"
            "  copy it together with bench.db-wal into a folder of yours, and read it there\n",
        )
    finally:
        subprocess.run(["umount", "-l", medium], check=True)
