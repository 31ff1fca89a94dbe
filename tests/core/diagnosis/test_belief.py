"""Bayes' rule by hand, the guards of what is shown, and what is no evidence."""

import pytest

from meterlog.diagnosis import Model, ModelledCheck, ModelledFault, SuspectPart
from meterlog.diagnosis.belief import does_not_fit, guarded, posterior
from meterlog.diagnosis.model import SOMETHING_ELSE, CheckOutcome

FUSE = ModelledCheck(key="fuse", minutes=1, finds={"fuse-blown": 0.9}, false_alarm=0.1, undecided=0.5)
DIODE = ModelledCheck(
    key="diode", minutes=2, finds={"diode-short": 0.9}, false_alarm=0.1, undecided=0.8, undecided_when_sound=True
)
MODEL = Model(
    faults=(
        ModelledFault(key="fuse-blown", part="fuse", weight=1.0),
        ModelledFault(key="diode-short", part="diode", weight=2.0),
    ),
    parts=(SuspectPart(name="fuse", renew_min=5), SuspectPart(name="diode", renew_min=10, cost_min=60)),
    checks=(FUSE, DIODE, ModelledCheck(key="fuse-again", minutes=1, finds={"fuse-blown": 0.7}, group="fuse")),
    else_weight=1.0,
)


def test_a_fail_by_hand():
    # weights 1, 2, 1 times 0.45, 0.05, 0.05 (half of what decides): 0.45, 0.10, 0.05 of 0.60
    parts = posterior(MODEL, {"fuse": CheckOutcome.FAIL}).parts
    assert parts == pytest.approx({"fuse": 0.75, "diode": 1 / 6, SOMETHING_ELSE: 1 / 12})


def test_no_decision_is_no_evidence_where_a_sound_part_decides():
    assert posterior(MODEL, {"fuse": CheckOutcome.UNDECIDED}).parts == pytest.approx(posterior(MODEL, {}).parts)


def test_no_decision_speaks_for_a_part_that_gives_none_when_sound():
    # weights 1, 2, 1 times 0.9·0.8, 0.1·0.8, 0.9·0.8: 0.72, 0.16, 0.72 of 1.60
    parts = posterior(MODEL, {"diode": CheckOutcome.UNDECIDED}).parts
    assert parts == pytest.approx({"fuse": 0.45, "diode": 0.10, SOMETHING_ELSE: 0.45})


def test_a_repeat_with_the_same_leads_and_method_adds_nothing():
    same = Model(
        faults=MODEL.faults,
        parts=MODEL.parts,
        checks=tuple(
            ModelledCheck(key=key, minutes=1, finds={"fuse-blown": finds}, group="fuse")
            for key, finds in (("a", 0.9), ("b", 0.7))
        ),
    )
    once = posterior(same, {"a": CheckOutcome.FAIL}).parts
    assert posterior(same, {"a": CheckOutcome.FAIL, "b": CheckOutcome.FAIL}).parts == pytest.approx(once)


def test_a_part_renewed_in_vain_is_out():
    assert posterior(MODEL, {}, renewed=["diode"]).parts["diode"] == 0.0


def test_what_is_shown_is_capped():
    sharp = Model(
        faults=MODEL.faults,
        parts=MODEL.parts,
        checks=(ModelledCheck(key="fuse", minutes=1, finds={"fuse-blown": 0.999}, false_alarm=0.001, undecided=0.01),),
        else_weight=0.001,
    )
    plain = posterior(sharp, {"fuse": CheckOutcome.FAIL}).parts
    shown = guarded(sharp, {"fuse": CheckOutcome.FAIL}).parts
    assert plain["fuse"] > 0.99
    # 12 to 1 at most: weights 12, 2 and at least 0.12 of all for something else: 12/14 · 0.88
    assert shown["fuse"] == pytest.approx(12 / 14 * 0.88)
    assert shown[SOMETHING_ELSE] == pytest.approx(0.12)


def test_fails_that_no_fault_explains_do_not_fit():
    checks = tuple(ModelledCheck(key=f"c{i}", minutes=1, finds={"fuse-blown": 0.01}, false_alarm=0.1) for i in range(3))
    odd = Model(faults=MODEL.faults[:1], parts=MODEL.parts[:1], checks=checks)
    failed = {check.key: CheckOutcome.FAIL for check in checks}
    assert does_not_fit(odd, failed)
    assert not does_not_fit(odd, {"c0": CheckOutcome.FAIL})
