"""Open and dead circuits are believed between two readings of something known, and where contact was said or seen."""

from dataclasses import replace

import pytest
from walking import JUNCTION, KOHM, OHM, OPEN_JUNCTION, OVER, VOLT, Bench, names, step

from meterlog.base.readings import Form
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.walk import NOTHING
from meterlog.walk.happenings import Advised, Captured, ContactSaid, LivePoint, NotTaken, Proof, Refused

SHORT, POINTS_SHORTED, FIVE_OHM = 2, 3, 50


def open_step(*following, **more):
    bench = Bench(step("o", kind=kinds.OPEN, hold_s=3.0, **more), *following, assume=NOTHING)
    bench.open()
    return bench


def leads_together(bench, seconds=1.75, form=OHM):
    return bench.show(form, SHORT, seconds) + bench.open(1.0)


def on_open_points(bench, seconds=4.0):
    """Tips on the points: a second, a press, and so many more."""
    bench.open(1.0)
    return bench.act("press") + bench.open(seconds)


def hows(bench):
    return [h.capture.how for h in bench.told if isinstance(h, Captured)]


def not_taken(told):
    return [h.why for h in told if isinstance(h, NotTaken)]


def advice(told):
    return [h.why for h in told if isinstance(h, Advised)]


def refused(told):
    return [h.why for h in told if isinstance(h, Refused)]


OPEN, DEAD, SEEN = "open proved, contact said", "dead proved, contact said", "dead proved, contact seen"


def test_open_is_proved_by_shorted_leads_before_and_after_and_a_press_on_the_points():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench)
    told = leads_together(bench)
    assert [h.wants for h in bench.told if isinstance(h, Proof)] == ["open", "short"]
    assert [(h.shown) for h in bench.told if isinstance(h, ContactSaid)] == ["over its range"]
    capture = next(h.capture for h in told if isinstance(h, Captured))
    assert (capture.how, capture.form.bound, capture.count) == (OPEN, "overload", 13)
    assert capture.proof == ((6, 9), (20, 20), (37, 40))
    assert (capture.started, capture.ended) == (5.25, 8.25)


def test_leads_in_the_air_are_no_open_circuit():
    bench = open_step()
    bench.open(60.0)
    assert bench.captured() == []


def test_a_range_whose_end_is_not_known_is_told_before_the_work():
    bench = Bench(step("o", kind=kinds.OPEN, hold_s=3.0), assume=NOTHING)
    told = bench.show(replace(OVER, range_top=None), None, 2.0)
    assert advice(told) == [
        "the profile of this meter does not say where its range ends, so that an open circuit can't be judged:"
        ' write "up to 40 Mohm" or what it is in the profile first'
    ]
    assert advice(bench.open(2.0)) == []


def test_air_between_two_shorts_is_no_open_circuit_and_is_told_in_words():
    bench = open_step()
    leads_together(bench)
    bench.open(30.0)
    told = leads_together(bench)
    assert hows(bench) == []
    assert "nobody had said that they were on the points" in not_taken(told)[0]


@pytest.mark.parametrize("seconds", [0.25, 0.75, 1.5, 3.0, 5.5])
def test_points_that_are_shorted_are_never_open_however_short_they_are_held(seconds):
    bench = open_step()
    leads_together(bench)
    told = bench.show(OHM, POINTS_SHORTED, seconds)
    told += bench.open(6.0)
    assert len(not_taken(told)) == 1
    assert "0.3 Ω came in between" in not_taken(told)[0]
    told = leads_together(bench)
    assert hows(bench) == []


def test_after_shorted_points_a_press_in_the_air_is_refused_until_the_leads_are_proved_again():
    bench = open_step()
    leads_together(bench)
    bench.show(OHM, POINTS_SHORTED, 3.0)
    bench.open(1.0)
    assert refused(bench.act("press")) == ["First press the tips together, until the tone."]


def test_points_that_are_shorted_are_the_answer_once_said():
    bench = open_step()
    leads_together(bench)
    bench.show(OHM, POINTS_SHORTED, 1.0)
    bench.act("press")
    bench.show(OHM, POINTS_SHORTED, 2.75)
    assert (bench.captured(), hows(bench)) == ([("o", "0.3")], ["settled, contact said"])


def test_points_that_are_shorted_and_unsaid_are_asked_about_once_and_never_taken():
    bench = open_step()
    leads_together(bench)
    told = bench.show(OHM, [POINTS_SHORTED, POINTS_SHORTED + 1], 20.0)
    assert advice(told) == ["0.4 Ω: if the tips are on the points, press and stay; if they are together, lift them"]
    assert bench.captured() == []


def test_what_was_said_of_a_leak_is_not_said_of_the_leads():
    bench = open_step()
    leads_together(bench)
    bench.show(KOHM, 3000, 1.0)
    bench.act("press")
    bench.show(KOHM, 3000, 1.0)
    bench.show(OHM, SHORT, 6.0)
    assert bench.captured() == []


def test_a_lift_that_a_slow_meter_shows_in_one_reading_is_a_lift():
    bench = Bench(step("o", kind=kinds.OPEN, hold_s=3.0), assume=NOTHING, gap=1.0)
    bench.open(2.0)
    bench.show(OHM, SHORT, 3.0)
    bench.open(1.0)
    bench.show(OHM, POINTS_SHORTED, 3.0)
    told = bench.open(2.0)
    assert "0.3 Ω came in between" in not_taken(told)[0]


def test_a_press_before_the_leads_are_proved_or_while_they_are_together_is_refused_in_words():
    bench = open_step()
    assert refused(bench.act("press")) == ["First press the tips together, until the tone."]
    bench.show(OHM, SHORT, 1.75)
    assert refused(bench.act("press")) == [
        "It has read low ever since the tips were together: lift them for a second, then touch the points and press."
    ]


def test_points_left_before_the_tone_prove_nothing_and_are_told():
    bench = open_step()
    leads_together(bench)
    told = on_open_points(bench, 2.0)
    told += bench.show(OHM, SHORT, 1.75)
    assert advice(told)[0] == "the contact changed before the tone: touch the points, press, and stay until the tone"
    assert hows(bench) == []


def test_a_number_in_between_ends_what_was_said():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench, 2.5)
    bench.show(KOHM, 3000, 0.5)
    bench.open(5.0)
    bench.show(OHM, SHORT, 1.75)
    assert hows(bench) == []


def test_bounce_at_the_second_short_keeps_the_open():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench)
    bench.show(KOHM, 3000, 0.25)
    bench.open(0.25)
    bench.show(OHM, SHORT, 1.25)
    assert hows(bench) == [OPEN]


def test_a_short_at_the_end_that_is_too_quick_is_told_and_nothing_later_takes_its_place():
    bench = open_step(step("next"))
    leads_together(bench)
    on_open_points(bench)
    told = leads_together(bench, 0.5)
    assert not_taken(told) == [
        "not proved open: the short at the end was too quick; begin again, and hold the tips together until the tone"
    ]
    bench.show(OHM, 4, 4.0)
    assert bench.captured() == []


def test_the_display_must_come_down_to_ohms_at_the_end_and_it_says_so_at_once():
    bench = open_step(step("next"))
    leads_together(bench)
    on_open_points(bench)
    told = bench.show(KOHM, 0, 1.0)
    assert advice(told) == ["keep the tips together: the display has not come down to ohms yet"]
    assert hows(bench) == []
    bench.show(OHM, SHORT, 1.0)
    assert hows(bench) == [OPEN]


def test_a_coarse_short_at_the_end_that_is_lifted_is_void_and_the_next_points_are_no_short():
    bench = open_step(step("next"))
    leads_together(bench)
    on_open_points(bench)
    told = leads_together(bench, 1.0, KOHM)
    assert len(not_taken(told)) == 1
    bench.show(OHM, 4, 4.0)
    assert bench.captured() == []


def test_a_short_some_time_after_the_open_may_be_other_points_and_is_asked_about():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench, 8.0)
    told = bench.show(OHM, SHORT, 1.75)
    assert advice(told) == ["0.2 Ω: press with the tips together, if that is where they are"]
    assert hows(bench) == []
    bench.act("press")
    bench.show(OHM, SHORT, 0.5)
    assert hows(bench) == [OPEN]


def test_a_prompt_contact_that_reads_more_than_the_leads_did_is_asked_about():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench)
    told = bench.show(OHM, 9, 3.0)
    assert advice(told) == ["0.9 Ω: press with the tips together, if that is where they are"]
    assert hows(bench) == []


def test_a_short_long_after_the_open_ends_no_proof():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench)
    told = bench.open(31.0)
    assert not_taken(told) == [
        "not proved open: the tips were not pressed together after it; begin again with the tips together"
    ]
    bench.show(OHM, SHORT, 1.75)
    assert hows(bench) == []


def test_other_points_touched_before_the_short_at_the_end_are_told():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench)
    told = bench.show(OHM, 470, 4.0)
    assert not_taken(told) == ["not proved open: the tips touched 47.0 Ω before they were together"]


def test_leads_held_together_too_briefly_are_told():
    bench = open_step()
    assert advice(leads_together(bench, 0.5)) == ["hold the tips together until the tone"]


def test_a_number_that_settles_at_the_points_is_a_leak():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(1.0)
    bench.show(KOHM, 3000, 4.0)
    assert bench.captured() == [("o", "3.000")]


def test_a_leak_touched_too_briefly_is_told():
    bench = open_step()
    leads_together(bench)
    told = bench.show(KOHM, 3000, 2.0) + bench.open(1.0)
    assert advice(told) == ["3.000 kΩ: hold the tips on the points until the tone"]


def test_a_coarse_zero_proves_no_short():
    bench = open_step()
    bench.show(KOHM, 0, 1.25)
    bench.open(1.0)
    assert refused(bench.act("press")) != []


def test_no_proof_survives_another_function_and_that_is_told():
    bench = open_step()
    leads_together(bench)
    told = bench.show(VOLT, 0, 1.0)
    assert not_taken(told) == ["the meter left this function: the proof begins again"]
    on_open_points(bench)
    bench.show(OHM, SHORT, 1.75)
    assert hows(bench) == []


def test_an_open_junction_is_proved_in_volts():
    bench = Bench(step("o", "junction_voltage", kind=kinds.OPEN))
    bench.show(OPEN_JUNCTION, None, 2)
    bench.show(JUNCTION, 1, 1.25)
    bench.show(OPEN_JUNCTION, None, 2)
    bench.act("press")
    bench.show(OPEN_JUNCTION, None, 4)
    bench.show(JUNCTION, 1, 1.25)
    assert hows(bench) == [OPEN]


def dead_step(top=1.0, mode="dc", source=9.0):
    limit = Limit(low=None, high=top, unit="V", text="", source="")
    dead = step("d", "voltage", kind=kinds.DEAD, mode=mode, source_voltage=source, limits=(limit,))
    bench = Bench(dead, assume=NOTHING)
    bench.show(VOLT, 3, 1.0)
    return bench


def source(bench, counts=9050, seconds=1.75):
    """The known source, and off it."""
    return bench.show(VOLT, counts, seconds) + bench.show(VOLT, 3, 1.0)


def on_points(bench, counts=3, seconds=4.0, form=VOLT):
    """Tips on the points: a second, a press, and so many more."""
    told = bench.show(form, counts, 1.0) + bench.act("press")
    return told + bench.show(form, counts, seconds) + bench.show(VOLT, 3, 1.0)


def test_dead_is_proved_by_the_source_before_and_after_and_a_press_on_the_points():
    bench = dead_step()
    source(bench)
    on_points(bench, 0)
    told = source(bench)
    assert [h.wants for h in bench.told if isinstance(h, Proof)] == ["points", "source"]
    assert [h.shown for h in bench.told if isinstance(h, ContactSaid)] == ["0.000 V"]
    capture = next(h.capture for h in told if isinstance(h, Captured))
    assert (capture.how, capture.reading.digits) == (DEAD, "0.000")
    assert capture.proof == ((4, 10), (18, 18), (39, 44))
    assert (capture.first, capture.last) == (18, 30)


def test_without_the_second_source_nothing_is_dead():
    bench = dead_step()
    source(bench)
    on_points(bench, 0, 30.0)
    assert bench.captured() == []


NOBODY_SAID = (
    "not proved dead: nobody said, and nothing showed, that the tips were on the points; touch the points,"
    " press with the tips on them, stay until the tone, then the source"
)


@pytest.mark.parametrize("seconds", [3.0, 7.0, 60.0])
def test_air_between_two_touches_of_the_source_is_not_proved_dead_in_those_words(seconds):
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, 3, seconds)
    assert not_taken(source(bench)) == [NOBODY_SAID]
    assert bench.captured() == []


@pytest.mark.parametrize("charge", [None, 41000])
@pytest.mark.parametrize("points", [15000, 41000, 300000, 325000])
def test_points_that_stand_under_voltage_are_not_dead_whatever_the_air_reads_later(points, charge):
    bench = dead_step(top=34.0)
    source(bench)
    if charge:
        bench.show(VOLT, falling(charge, 3, 20.0), 20.0)
        source(bench)
    bench.show(VOLT, points, 5.0)
    bench.show(VOLT, 3, 6.0)
    source(bench)
    bench.show(VOLT, 3, 6.0)
    source(bench)
    assert [digits for _, digits in bench.captured()] == (["15.000"] if points == 15000 else [])


def test_an_honest_proof_after_a_discharged_charge():
    bench = dead_step(top=34.0)
    source(bench)
    assert "LivePoint" in names(bench.show(VOLT, 41000, 3.0))
    bench.act("acknowledge")
    bench.show(VOLT, falling(41000, 3, 6.0), 6.0)
    source(bench)
    on_points(bench)
    source(bench)
    assert hows(bench) == [DEAD]


def test_a_press_at_points_above_the_limit_is_refused_with_what_shows():
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, 41000, 0.25)
    assert refused(bench.act("press")) == [
        "41.000 V is above 34 V: these points are not dead. Isolate, discharge, and begin at the known source."
    ]


def test_the_limit_that_is_printed_is_the_one_in_force():
    bench = dead_step(top=50.0)
    source(bench)
    on_points(bench, 40000)
    source(bench)
    assert bench.captured() == [("d", "40.000")]


def test_a_press_before_the_source_or_on_it_is_refused_in_words():
    bench = dead_step()
    assert refused(bench.act("press")) == ["First the known source of 9 V: hold the tips on it until the tone."]
    bench.show(VOLT, 9050, 1.75)
    assert refused(bench.act("press")) == ["The display shows 9.050 V, as the known source does: go to the points."]


def test_points_left_before_the_tone_are_told_and_not_dead():
    bench = dead_step()
    source(bench)
    bench.show(VOLT, 3, 1.0)
    bench.act("press")
    bench.show(VOLT, 3, 1.0)
    told = source(bench)
    assert advice(told) == ["the tips left the points before the tone: touch them, press, and stay until the tone"]
    assert not_taken(told) == [NOBODY_SAID]


def test_a_source_touched_too_briefly_is_told():
    bench = dead_step()
    assert advice(source(bench, seconds=0.75)) == ["if that was the known source, hold the tips on it until the tone"]


@pytest.mark.parametrize("volts", [7250, 9050, 9520, 10300])
def test_a_source_that_is_fresh_or_worn_is_taken(volts):
    bench = dead_step()
    assert [h.wants for h in source(bench, volts) if isinstance(h, Proof)] == ["points"]


def test_a_source_outside_its_range_is_told_at_once_and_taken_when_said():
    bench = dead_step(top=34.0)
    assert advice(source(bench, 12600)) == [
        "12.600 V stands there, and the known source of 9 V should read 7.2 V to 10.3 V;"
        " if it is your known source, press with the tips on it"
    ]
    bench.show(VOLT, 12600, 1.75)
    bench.act("press")
    bench.show(VOLT, 3, 1.0)
    on_points(bench)
    source(bench, 12600)
    assert hows(bench) == [DEAD]


def test_another_source_after_than_before_proves_nothing():
    bench = dead_step()
    source(bench)
    on_points(bench)
    assert not_taken(source(bench, 8400)) == [
        "not proved dead: the known source read 9.050 V before and 8.400 V after; begin again at the points"
    ]


def test_a_charge_above_the_limit_begins_the_proof_again():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    told = bench.show(VOLT, range(6000, 3600, -30), 20.0)
    assert names(told) == ["LivePoint"]
    assert bench.show(VOLT, 9050, 1.75) == []
    bench.act("acknowledge")
    bench.show(VOLT, 0, 1.0)
    told = bench.show(VOLT, 9050, 1.75)
    assert [h.wants for h in told] == ["points"]


def test_what_the_points_read_is_the_answer_whatever_the_air_reads():
    bench = dead_step()
    source(bench)
    bench.show(VOLT, 400, 4.0)
    on_points(bench, 2)
    bench.show(VOLT, 0, 4.0)
    source(bench)
    assert bench.captured() == [("d", "0.002")]


def test_a_steady_voltage_is_a_live_point():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    told = bench.show(VOLT, 5000, 4.0)
    assert told == [LivePoint(step="d", at=told[0].at, source="meter", value=5.0, shown="5.000 V")]


def test_direct_volts_that_stand_below_the_limit_are_seen_without_a_press():
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, 15000, 5.0)
    bench.show(VOLT, 3, 1.0)
    source(bench)
    assert (hows(bench), bench.captured()) == ([SEEN], [("d", "15.000")])


AC = Form(quantity="voltage", mode="ac", unit="V", scale=1.0, decimals=3)


def test_alternating_volts_that_stand_may_be_the_airs_and_are_never_seen():
    bench = dead_step(top=34.0, mode="ac")
    bench.show(AC, 3, 1.0)
    bench.show(AC, 9050, 1.75)
    bench.show(AC, 15000, 10.0)
    assert not_taken(bench.show(AC, 9050, 1.75)) == [NOBODY_SAID]


MILLIVOLT = Form(quantity="voltage", mode="dc", unit="mV", scale=1e-3, decimals=1)
NEAR_NOTHING = (10, -62, 35, 80, -21, -74, 52, 5)


def test_points_that_float_wander_on_a_fine_display_and_are_dead():
    bench = dead_step()
    source(bench)
    on_points(bench, NEAR_NOTHING, 5.0, MILLIVOLT)
    source(bench)
    assert hows(bench) == [DEAD]


def falling(start, stop, seconds):
    """Counts that fall as a charge does, four a second."""
    n = round(seconds * 4)
    return [round(start * (stop / start) ** (i / n)) for i in range(n)]


def test_a_charge_that_runs_down_at_the_points_is_taken_as_it_falls_below_the_limit():
    bench = dead_step(top=34.0)
    source(bench)
    on_points(bench, falling(30000, 3000, 20.0), 10.0)
    source(bench)
    assert hows(bench) == [DEAD]


def test_a_charge_that_comes_back_is_told_and_not_dead():
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, 1000, 1.0)
    bench.act("press")
    told = bench.show(VOLT, range(1000, 33000, 500), 10.0)
    assert advice(told) == [
        "the volts rise: a charge comes back; discharge it, and press again with the tips on the points"
    ]
    bench.show(VOLT, 3, 6.0)
    assert not_taken(source(bench)) == [NOBODY_SAID]


def test_volts_that_are_left_before_the_tone_are_told_and_not_dead():
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, 20000, 1.0)
    bench.act("press")
    bench.show(VOLT, 20000, 1.0)
    assert advice(bench.show(VOLT, 3, 6.0)) == [
        "the tips left the points before the tone: touch them, press, and stay until the tone"
    ]
    assert not_taken(source(bench)) == [NOBODY_SAID]


def test_a_charge_that_falls_through_the_volts_of_the_source_at_the_points_is_dead():
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, falling(14000, 13000, 1.0), 1.0)
    bench.act("press")
    bench.show(VOLT, falling(13000, 5000, 10.0), 10.0)
    bench.show(VOLT, 3, 1.0)
    source(bench)
    assert hows(bench) == [DEAD]


def test_a_source_touched_before_the_tone_is_no_reading_of_the_points():
    bench = dead_step(top=34.0)
    source(bench)
    bench.show(VOLT, 16000, 1.0)
    bench.act("press")
    bench.show(VOLT, 16000, 1.5)
    bench.show(VOLT, [13000, 11000, 9500], 0.75)
    told = bench.show(VOLT, 9050, 3.0)
    assert advice(told) == ["the tips left the points before the tone: touch them, press, and stay until the tone"]
    assert hows(bench) == []


def test_a_charge_that_falls_through_the_volts_of_the_source_is_no_source():
    bench = dead_step(top=34.0)
    bench.show(VOLT, falling(12000, 6000, 20.0), 20.0)
    assert [h for h in bench.told if isinstance(h, Proof)] == []


AGAIN = "press again, with the tips still on the points: this meter shows too seldom to tell by one press"


def test_with_a_slow_meter_dead_is_said_at_both_ends():
    bench = dead_step()
    bench.gap = 1.0
    source(bench, seconds=4.0)
    bench.show(VOLT, 3, 1.0)
    bench.act("press")
    assert advice(bench.show(VOLT, 3, 6.0)) == [AGAIN]
    bench.act("press")
    bench.show(VOLT, 3, 1.0)
    source(bench, seconds=4.0)
    assert hows(bench) == [DEAD]


def test_with_a_slow_meter_a_press_at_the_beginning_alone_proves_nothing():
    bench = dead_step()
    bench.gap = 1.0
    source(bench, seconds=4.0)
    bench.show(VOLT, 3, 1.0)
    bench.act("press")
    bench.show(VOLT, 3, 6.0)
    assert not_taken(source(bench, seconds=4.0)) == [NOBODY_SAID]


def test_with_a_slow_meter_open_is_said_at_both_ends():
    bench = Bench(step("o", kind=kinds.OPEN, hold_s=3.0), assume=NOTHING, gap=1.0)
    bench.open(2.0)
    bench.show(OHM, SHORT, 3.0)
    bench.open(2.0)
    bench.act("press")
    assert advice(bench.open(5.0)) == [AGAIN]
    bench.act("press")
    bench.open(1.0)
    bench.show(OHM, SHORT, 3.0)
    assert hows(bench) == [OPEN]


def test_a_meter_that_is_silent_after_the_press_is_asked_for_another():
    bench = dead_step()
    source(bench)
    bench.show(VOLT, 3, 1.0)
    bench.act("press")
    bench.at += 10.0
    assert advice(bench.show(VOLT, 3, 4.0)) == ["the meter was silent: press again with the tips on the points"]
    assert not_taken(source(bench)) == [NOBODY_SAID]


def test_a_press_while_the_meter_says_nothing_is_refused():
    bench = dead_step()
    source(bench)
    bench.at += 10.0
    assert refused(bench.act("press")) == ["meter has sent nothing for 10 s: nothing shows now."]


def test_hold_begins_a_proof_again_and_says_so():
    bench = dead_step()
    source(bench)
    told = bench.show(replace(VOLT, flags=("hold",)), 3, 1.0)
    assert not_taken(told) == ["the display was held: the proof begins again"]
    on_points(bench)
    source(bench)
    assert hows(bench) == []


def leak_then(*following):
    bench = Bench(step("o", kind=kinds.OPEN, hold_s=3.0), *following)
    bench.open()
    bench.show(OHM, SHORT, 1.25)
    bench.open(1.0)
    bench.show(KOHM, 3000, 4.0)
    bench.open(1.0)
    return bench


def test_the_short_that_closes_a_leaks_test_answers_no_other_step():
    bench = leak_then(step("next"))
    bench.show(OHM, SHORT, 4.0)
    bench.open(1.0)
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("o", "3.000"), ("next", "47.0")]


def test_after_a_leak_the_next_points_may_be_touched_at_once():
    bench = leak_then(step("next"))
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("o", "3.000"), ("next", "47.0")]


def test_a_short_long_after_a_leak_is_the_next_step():
    bench = leak_then(step("next"))
    bench.open(3.0)
    bench.show(OHM, SHORT, 4.0)
    assert bench.captured() == [("o", "3.000"), ("next", "0.2")]


def test_a_leak_before_another_open_step_takes_the_short_as_its_beginning():
    bench = leak_then(step("again", kind=kinds.OPEN, hold_s=3.0))
    leads_together(bench)
    on_open_points(bench)
    leads_together(bench)
    assert hows(bench) == ["settled", OPEN]


def asks(bench):
    return bench.walk.snapshot().words


def test_what_is_asked_now_is_what_was_advised_until_the_proof_goes_on():
    bench = dead_step()
    assert asks(bench) == "Hold the tips on the known source until the tone; then the points; then the source again."
    source(bench, seconds=0.75)
    assert asks(bench) == "If that was the known source, hold the tips on it until the tone."
    source(bench)
    assert asks(bench) == "The tester is proved. Touch the points, and press with the tips on them."
    bench.act("press")
    assert asks(bench) == "Stay on the points until the tone."
    source(bench)
    assert asks(bench).startswith("Not proved dead: nobody said, and nothing showed, that the tips were on the points;")
    on_points(bench)
    assert asks(bench) == "It read low for long enough. Now the known source once more, until the tone."


# One meter, one function, from the source to the source ------------------------------------------

AC_VOLT = replace(VOLT, mode="ac")
RELATIVE = replace(VOLT, flags=("relative",))
REL = replace(VOLT, flags=("REL",))


def volts_step():
    """A step that leaves open whether direct or alternating volts are read."""
    limit = Limit(low=None, high=50.0, unit="volt", text="at most 50 V", source="invented")
    bench = Bench(step("d", "voltage", kind=kinds.DEAD, source_voltage=9.0, limits=(limit,)), assume=NOTHING)
    bench.show(VOLT, 3, 1.0)
    return bench


def at_source_then_points(bench, form=VOLT):
    bench.show(VOLT, 9120, 1.75)
    bench.show(form, 3, 1.0)
    bench.act("press")
    bench.show(form, 3, 4.0)


@pytest.mark.parametrize("form", [AC_VOLT, RELATIVE, REL], ids=["alternating", "relative", "REL"])
def test_a_source_on_one_function_proves_nothing_of_points_on_another(form):
    bench = volts_step()
    at_source_then_points(bench, form)
    bench.show(VOLT, 9120, 3.0)
    assert bench.captured() == []
    assert not_taken(bench.told)[0] == (
        "the meter shows another function than at the known source: the proof begins again"
    )


def test_no_proof_of_dead_goes_on_over_a_lost_link():
    bench = volts_step()
    at_source_then_points(bench)
    bench.walk.gone("meter")
    assert refused(bench.act("press")) == ["The link of meter was lost: nothing shows now."]
    bench.show(VOLT, 9120, 1.0)
    assert bench.captured() == []
    assert not_taken(bench.told) == ["the link was lost: the proof begins again"]
    at_source_then_points(bench)
    bench.show(VOLT, 9120, 3.0)
    assert bench.captured() == [("d", "0.003")]


def test_no_proof_of_open_goes_on_over_a_lost_link():
    bench = open_step()
    leads_together(bench)
    on_open_points(bench)
    bench.walk.gone("meter")
    leads_together(bench)
    assert bench.captured() == []
    assert not_taken(bench.told) == ["the link was lost: the proof begins again"]


def test_a_source_that_sags_under_the_tips_is_no_level_at_the_points():
    bench = volts_step()
    bench.show(VOLT, 9120, 1.75)
    bench.show(VOLT, 5600, 6.0)
    bench.show(VOLT, 9120, 3.0)
    assert bench.captured() == []


@pytest.mark.parametrize("flag", ["hold", "HOLD", "data-hold", "peak hold"])
def test_a_display_that_holds_is_no_contact_however_its_profile_spells_that(flag):
    bench = volts_step()
    bench.show(VOLT, 9120, 1.75)
    bench.show(VOLT, 3, 1.0)
    bench.act("press")
    bench.show(replace(VOLT, flags=(flag,)), 3, 4.0)
    bench.show(VOLT, 9120, 3.0)
    assert bench.captured() == []
    assert not_taken(bench.told)[0] == "the display was held: the proof begins again"
