"""What a job amounts to, from how its checks stand: never better than the worst of them."""

import pytest

from meterlog.record.outcome import STATES, WHOLE, JobCheck, Overridden, Word, conclude_job


def check(key, state, *, is_safety=False, is_looked_at=False, reason=""):
    return JobCheck(key=key, title=key, state=state, is_safety=is_safety, is_looked_at=is_looked_at, reason=reason)


EARTH = check("Earth", "pass", is_safety=True)
VISUAL = check("Cord looked over", "looked", is_looked_at=True)
DIODE = check("Diode", "pass")


def test_every_safety_check_passed():
    found = conclude_job([VISUAL, EARTH, DIODE])
    assert (found.word, found.says) == (Word.PASSED, "Every safety check passed.")
    assert found.unanswered == ()


@pytest.mark.parametrize("state", ["fail", "found wanting"])
@pytest.mark.parametrize("is_safety", [True, False])
def test_any_check_that_failed_keeps_it_from_use(state, is_safety):
    bad = check("Switch", state, is_safety=is_safety)
    found = conclude_job([VISUAL, EARTH, bad, check("Insulation", "", is_safety=True)])
    assert (found.word, found.says) == (Word.FAILED, "Did not pass: do not use.")
    assert [each.title for each in found.unanswered] == ["Switch", "Insulation"]


@pytest.mark.parametrize("state", [state for state in STATES if state not in ("pass", "fail", "found wanting")])
def test_a_safety_check_without_a_pass_is_not_finished(state):
    found = conclude_job([VISUAL, EARTH, check("Insulation", state, is_safety=True)])
    if state in ("looked", "of another class"):
        assert found.word is Word.PASSED
    else:
        assert (found.word, found.says) == (Word.UNFINISHED, f"Not finished: Insulation ({STATES[state]}).")


@pytest.mark.parametrize("state", ["", "skipped", "passed over"])
def test_what_was_to_be_looked_at_and_was_not_is_missing(state):
    assert conclude_job([check("Cord looked over", state, is_looked_at=True), EARTH]).word is Word.UNFINISHED


def test_a_run_before_the_appliance_was_opened_again_is_missing():
    found = conclude_job([VISUAL, EARTH, check("Run", "to do again")])
    assert found.says == "Not finished: Run (to be done again, for the appliance was opened since)."


def test_a_check_for_the_fault_may_stay_open():
    skipped = check("Filament", "skipped", reason="no access")
    found = conclude_job([VISUAL, EARTH, skipped, check("Coil", "undecided")])
    assert found.word is Word.PASSED
    assert [each.title for each in found.open] == ["Filament", "Coil"]


def test_nothing_measured_for_safety_is_never_every_safety_check():
    found = conclude_job([VISUAL, DIODE])
    assert found.says == "Not finished: its procedure measures nothing that safety is judged by."
    assert conclude_job([]).word is Word.UNFINISHED


def test_three_are_named_and_the_others_counted():
    found = conclude_job([check(f"S{i}", "", is_safety=True) for i in range(5)])
    assert found.says == "Not finished: S0 (not done); S1 (not done); S2 (not done); and 2 more."


def test_the_tally_counts_every_check_once_the_worst_first():
    found = conclude_job([DIODE, check("a", "fail"), check("b", "of another version"), EARTH])
    assert found.tally == (("failed", 1), ("passed", 2), ("of another version", 1))
    assert [state for state in STATES if state in WHOLE] == list(STATES)[-len(WHOLE) :]


def test_what_was_overridden_is_told_and_makes_nothing_better():
    gate = Overridden(title="Run", needs=("Earth",), reason="no earth pin", who="repairer")
    found = conclude_job([check("Earth", "skipped", is_safety=True)], [gate])
    assert (found.word, found.overridden) == (Word.UNFINISHED, (gate,))
