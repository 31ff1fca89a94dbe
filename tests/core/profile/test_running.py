"""What runs with the clock: counters, packed seconds and their carries, and nothing that a display shows."""

import random

import pytest

from meterlog.profile.propose.running import running

TIMES = [0.25 * i for i in range(240)]
SECONDS = [int(t) + 55 for t in TIMES]
RUNNING = {
    "frames": {0: [i % 256 for i in range(240)]},
    "seconds": {0: [int(t) % 256 for t in TIMES]},
    "milliseconds, low byte": {0: [int(1000 * t) % 256 for t in TIMES], 1: [int(1000 * t) // 256 for t in TIMES]},
    "minutes and seconds": {4: [s // 60 for s in SECONDS], 5: [s % 60 for s in SECONDS]},
    "low byte first": {2: [(i + 200) % 256 for i in range(240)], 3: [(i + 200) // 256 for i in range(240)]},
}


@pytest.mark.parametrize("columns", RUNNING.values(), ids=RUNNING)
def test_what_runs(columns):
    assert running(TIMES, columns) == set(columns)


def test_a_measured_value_does_not_run():
    rng = random.Random(1)
    warming = [int(20 + 0.3 * t + rng.gauss(0, 4)) for t in TIMES]
    dial = [1 if t < 20 else 2 if t < 40 else 3 for t in TIMES]
    noise = [rng.randrange(256) for _ in TIMES]
    assert running(TIMES, {0: warming, 1: dial, 2: noise}) == set()


def test_too_few_frames_tell_nothing():
    assert running(TIMES[:12], {0: list(range(12))}) == set()


def test_a_code_that_changes_otherwise_than_at_the_turning_is_no_carry():
    low = [(i + 200) % 256 for i in range(240)]
    assert running(TIMES, {0: low, 1: [i // 100 for i in range(240)]}) == {0}
