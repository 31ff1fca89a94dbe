"""What the tests of the edge share: a wire to play an instrument on, and a bench to hear it."""

import pytest
from edge.bench import Daemon, Wire


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
