"""What the tests of the edge share: a wire to play an instrument on, a bench to hear it, the demo played once."""

import contextlib
import shutil
import sqlite3
from pathlib import Path

import pytest
from edge.bench import Daemon, Wire, run


@pytest.fixture(scope="session", autouse=True)
def keys_of_the_tests(tmp_path_factory):
    """Keys are made in a folder of the tests', never in this user's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("METERLOG_KEYS", str(tmp_path_factory.mktemp("keys")))
        yield


@pytest.fixture
def wire():
    made = Wire()
    yield made
    made.pull()


@pytest.fixture
def bench(tmp_path):
    """Starts a daemon over instruments; ends it after the test."""
    started = []

    def start(instruments, *extra, folder=tmp_path, **more):
        started.append(Daemon(folder, instruments, *extra, **more))
        return started[0]

    yield start
    for daemon in started:
        if daemon.process.poll() is None:
            daemon.stop()


@pytest.fixture(scope="session")
def played(tmp_path_factory):
    """The demo as a newcomer runs it: its database, to be read only, and the finished command."""
    folder = tmp_path_factory.mktemp("demo") / "kitchen"
    done = run("demo", "--no-browse", "--json", "--folder", str(folder), within_s=400)
    with contextlib.closing(sqlite3.connect(folder / "demo.db")) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return folder / "demo.db", done


@pytest.fixture
def copy(played, tmp_path):
    """The demo's database, to write in."""
    return Path(shutil.copy(played[0], tmp_path / "copy.db"))
