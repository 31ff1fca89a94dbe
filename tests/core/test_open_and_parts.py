"""Limits that are no plain numbers: an open circuit, and a part of an entry of the rating plate."""

import pytest

from meterlog.base.readings import Bound, Capture, Form
from meterlog.judging import Accuracy, Context, Outcome
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.procedure.judged_step import judge_capture
from meterlog.procedure.steps import Step

OPEN = Limit(low=None, high=None, unit="ohm", text="open", source="a test", is_open=True)
PLATE = Limit(low=0.85, high=1.15, unit="watt", text="rated output ± 15 %", source="a test", of="rated output")


def judged(limit, counts, *, how="open proved", context=None, **form):
    form = Form(**{"quantity": "resistance", "unit": "ohm", "scale": 1.0, **form})
    capture = Capture(form=form, counts=counts, count=12, spread=0.0, deviation=0.0, started=0.0,
                      ended=3.0, first=3, last=14, how=how)  # fmt: skip
    step = Step(key="a", title="a step", kind=kinds.OPEN, limits=(limit,))
    return judge_capture(step, capture, accuracy=Accuracy(part_of_reading=0.01), context=context)


OVERLOADS = [  # range's end in ohm, how it was captured, outcome and its words
    (40e6, "open proved", Outcome.PASS, "Open: > 40 MΩ."),
    (600.0, "open proved", Outcome.UNDECIDED, "> 600 Ω can be an open circuit or not."),
]


@pytest.mark.parametrize(("top", "how", "outcome", "why"), OVERLOADS)
def test_overload_is_open_beyond_a_high_range(top, how, outcome, why):
    verdict = judged(OPEN, None, how=how, bound=Bound.OVERLOAD, range_top=top)
    assert (verdict.outcome, verdict.why) == (outcome, why)


def test_open_is_not_believed_without_its_proof():
    assert judged(OPEN, None, how="settled", bound=Bound.OVERLOAD, range_top=40e6).outcome is Outcome.UNDECIDED


@pytest.mark.parametrize(("counts", "shown"), [(3, "3 Ω"), (9_000_000, "9 MΩ")])
def test_any_reading_is_not_open(counts, shown):
    verdict = judged(OPEN, counts)
    assert (verdict.outcome, verdict.why) == (Outcome.FAIL, f"It should be open and shows {shown}.")


WATTS = [(860, Outcome.PASS), (700, Outcome.FAIL), (770, Outcome.UNDECIDED)]  # against 765 W .. 1035 W, U 1.16 %


@pytest.mark.parametrize(("watts", "outcome"), WATTS)
def test_a_part_of_the_plate_needs_the_plate(watts, outcome):
    told = Context(entries={"rated output": (900.0, 900.0)})
    power = {"quantity": "power", "unit": "watt"}
    assert judged(PLATE, watts, context=told, **power).outcome == outcome
    verdict = judged(PLATE, watts, **power)
    assert verdict.outcome is Outcome.NOT_JUDGED
    assert verdict.why == "The limit is a part of 'rated output', which was not entered."
