"""Whole simulated jobs: floors well below what `bench_trials.py` prints, so that a real loss shows."""

import pytest
from bench_trials import trial

from meterlog.procedure.steps import Settling

JOBS = 16


@pytest.mark.parametrize("known", [False, True], ids=["in order", "known"])
def test_what_becomes_of_measurements(known):
    total = trial(JOBS, known=known)
    assert total["measurements"] == JOBS * 6 * 5
    assert total["right"] >= 0.98 * total["measurements"]
    assert total["false"] <= 0.005 * total["measurements"]


def test_a_window_shorter_than_a_slip_takes_slips():
    short = trial(JOBS, known=True, settling=Settling(length_s=0.7))
    assert short["wrong"] > 0.02 * short["measurements"]
