"""What an insulation tester says of its test voltage, held against the step's."""

from dataclasses import replace

import pytest
from walking import INSULATION, Bench, procedure, step

from meterlog.base.readings import Capture
from meterlog.judging.applied_voltage import applied_voltage, wrong_voltage
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.procedure.case import Case, StepAnswer, conclude
from meterlog.walk.happenings import Advised, Captured

AT_LEAST = (Limit(low=1e6, high=None, unit="Mohm", text="at least 1 Mohm", source="invented"),)
AT_250 = replace(INSULATION, flags=("test at 250 V",))
AT_500 = replace(INSULATION, flags=("low battery", "test at 500 V"))
WHY = "The tester says that it tests at 250 V, and this check wants 500 V: set it, and measure again."


@pytest.mark.parametrize(
    ("flags", "volts"),
    [
        ((), None),
        (("hold",), None),
        (("test at 250 V",), 250.0),
        (("test at 1 kV",), 1000.0),
        (("test at 12.5 V",), 12.5),
        (("250 V",), 250.0),
        (("Test voltage: 250 V DC",), 250.0),
        (("500V",), 500.0),
        (("voltage on the points",), None),
    ],
)
def test_the_voltage_that_is_said(flags, volts):
    assert applied_voltage(replace(INSULATION, flags=flags)) == volts


@pytest.mark.parametrize(
    ("form", "wanted", "why"), [(AT_250, 500.0, WHY), (AT_500, 500.0, ""), (AT_250, None, ""), (INSULATION, 500.0, "")]
)
def test_another_voltage_than_the_step_wants(form, wanted, why):
    assert wrong_voltage(form, wanted) == why


def insulation_step():
    return step("i", "insulation_resistance", test_voltage=500.0, limits=AT_LEAST, points=("a", "b"))


def test_a_capture_at_another_voltage_is_not_judged():
    capture = Capture(form=AT_250, counts=900, count=9, spread=0.0, deviation=0.0, started=0.0, ended=5.0, first=0,
                      last=8, how="settled")  # fmt: skip
    check = insulation_step()
    verdicts = [
        conclude(Case(procedure=procedure(check), answers={"i": StepAnswer(capture=each)}), check)
        for each in (capture, replace(capture, form=AT_500))
    ]
    assert [(verdict.outcome, verdict.why) for verdict in verdicts[:1]] == [("not judged", WHY)]
    assert verdicts[1].outcome != "not judged"


def test_at_the_bench_it_is_told_once_and_not_taken():
    bench = Bench(insulation_step())
    bench.show(AT_250, 900, 20.0, source="tester")
    assert [each.why for each in bench.told if isinstance(each, Advised)] == [WHY]
    assert [each for each in bench.told if isinstance(each, Captured)] == []


def test_a_kind_of_step_has_nothing_to_do_with_it():
    timed = step("t", "time", kind=kinds.TIMED)
    assert timed.test_voltage is None
