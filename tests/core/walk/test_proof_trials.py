"""Simulated hands prove dead and open, or do not, against the truth of the bench: a share of `proof_trials.py`."""

import pytest
from proof_trials import FALSE_WORD, KINDS, OTHER_VOLTS, stretches_taken_for_points, trial

RUNS = 2
WELL_DONE = [kind for kind in KINDS if kind[3]]
NOT_DONE = [kind for kind in KINDS if not kind[3] and kind[1] != OTHER_VOLTS and kind[2] != FALSE_WORD]


def name(kind):
    return f"{kind[0].__name__} {kind[1]} {kind[2]}"


@pytest.mark.parametrize("kind", WELL_DONE, ids=name)
def test_what_is_done_as_asked_is_proved(kind):
    total = trial(kind, RUNS)
    assert (total["runs"], total["true"]) == (5 * RUNS, 5 * RUNS)


@pytest.mark.parametrize("kind", NOT_DONE, ids=name)
def test_nothing_is_proved_that_the_bench_denies(kind):
    assert trial(kind, RUNS)["false"] == 0


@pytest.mark.parametrize("kind", [kind for kind in NOT_DONE if kind[2] != "fumbled"], ids=name)
def test_what_is_not_proved_is_told_in_words(kind):
    assert trial(kind, RUNS)["silent"] == 0


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind[2] == FALSE_WORD], ids=name)
def test_the_trial_sees_a_false_proof(kind):
    """A press in the air is a false word, and every proof by it is false: a trial that saw none would see nothing."""
    assert trial(kind, RUNS)["false"] > 2 * RUNS


def test_the_air_is_not_taken_for_points():
    assert stretches_taken_for_points(60) == 0
