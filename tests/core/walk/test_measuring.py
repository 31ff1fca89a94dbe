"""A measuring step: armed by leads apart, captured when settled, lifted before the next."""

from walking import HELD, KOHM, OHM, VOLT, Bench, names, step

from meterlog.base.readings import Form
from meterlog.procedure import kinds
from meterlog.walk.happenings import Captured, NotTaken, WrongFunction


def two_steps(**more):
    return Bench(step("a"), step("b"), **more)


def test_a_settled_run_is_captured_with_its_digits():
    bench = two_steps()
    bench.open()
    told = bench.show(OHM, [470, 471, 470, 469], 4.0)
    assert names(told) == ["Captured"]
    capture = told[0].capture
    assert (capture.reading.digits, capture.how, capture.count) == ("47.0", "settled", 11)
    assert capture.ended - capture.started == 2.5


def test_nothing_is_captured_before_the_leads_were_apart():
    bench = two_steps()
    bench.show(OHM, 470, 10.0)
    assert bench.captured() == []
    bench.open()
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("a", "47.0")]


def test_what_was_worked_out_from_a_part_is_worked_out_again_once_its_replacement_is_measured():
    concluded = []
    power = step("power", "power", kind=kinds.DERIVED, method="element power", inputs={"resistance": "a"})
    bench = Bench(step("a"), power, step("b"), conclude=lambda each: concluded.append(each.key) or "fail")
    bench.open()
    bench.show(OHM, 990, 4.0)
    bench.open()
    assert (concluded.count("power"), bench.walk.snapshot().step) == (1, "b")
    bench.act("go to a")
    bench.open()
    bench.show(OHM, 470, 4.0)
    bench.open()
    assert (concluded.count("power"), bench.walk.snapshot().step) == (2, "b")


def test_the_next_step_waits_for_a_lift():
    bench = two_steps()
    bench.open()
    bench.show(OHM, 470, 20.0)
    bench.open()
    bench.show(OHM, 990, 4.0)
    assert bench.captured() == [("a", "47.0"), ("b", "99.0")]
    assert names(bench.told) == ["StepBegan", "Captured", "Lifted", "StepBegan", "Captured", "JobDone"]


def test_a_bounce_is_no_lift():
    bench = two_steps(gap=0.1)
    bench.open()
    bench.show(OHM, 470, 4.0)
    bench.open(0.3)
    bench.show(OHM, 470, 6.0)
    assert bench.captured() == [("a", "47.0")]


def test_no_capture_goes_on_across_a_lost_link():
    bench = two_steps()
    bench.open()
    bench.show(OHM, 470, 1.5)
    bench.walk.gone("meter")
    bench.show(OHM, 470, 1.5)
    assert bench.captured() == []
    bench.show(OHM, 470, 2.5)
    capture = bench.told[-1].capture
    assert bench.captured() == [("a", "47.0")]
    assert capture.first >= 12, "all readings of it came after the gap"


def test_a_range_change_begins_a_new_run():
    bench = two_steps()
    bench.open()
    bench.show(OHM, 4700, 2.0)
    told = bench.show(KOHM, 470, 3.0)
    assert [t.capture.started for t in told if isinstance(t, Captured)] == [bench.at - 3.0 + 0.25]


def test_drifting_is_not_settled():
    bench = two_steps()
    bench.open()
    bench.show(OHM, range(400, 480, 1), 20.0)
    assert bench.captured() == []


def test_a_frozen_number_is_no_answer():
    bench = two_steps()
    bench.open()
    told = bench.show(HELD, 470, 10.0)
    bench.show(OHM, 470, 10.0)
    assert names(told) == ["Frozen"]
    assert bench.captured() == []
    bench.open()
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("a", "47.0")]


def test_a_wrong_function_is_told_once_and_files_nothing():
    bench = two_steps()
    told = bench.show(VOLT, 1500, 10.0)
    assert told == [
        WrongFunction(step="a", at=0.5, source="meter", shows="voltage", wants="resistance", shows_mode="dc")
    ]
    bench.show(OHM, 470, 5.0)
    assert bench.captured() == []


def test_a_contact_without_a_capture_is_told():
    bench = two_steps()
    bench.open()
    bench.show(OHM, [470, 520], 3.0)
    told = bench.open()
    assert told == [NotTaken(step="a", at=bench.at - 1.0, source="meter", lasted_s=2.75)]


MILLIOHM = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=4)
HELD_BY_HAND = (2412, 2533, 2466, 2391, 2578, 2440, 2517, 2402)


def test_a_display_of_many_digits_may_see_the_contact_wander():
    bench = two_steps()
    bench.open()
    bench.show(MILLIOHM, HELD_BY_HAND, 4.0)
    assert [step for step, _ in bench.captured()] == ["a"]


def test_a_winding_whose_current_settles_is_no_contact_that_wanders():
    bench = two_steps()
    bench.open()
    bench.show(MILLIOHM, range(2900, 2400, -25), 5.0)
    assert bench.captured() == []


def test_a_contact_that_wanders_further_is_not_taken():
    bench = two_steps()
    bench.open()
    bench.show(MILLIOHM, [2000 + 4 * (counts - 2000) for counts in HELD_BY_HAND], 6.0)
    assert bench.captured() == []
