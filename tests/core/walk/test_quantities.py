"""What open leads read differs by quantity, and so does what counts as an answer."""

import pytest
from walking import ABOVE, AMPERE, CELSIUS, FARAD, INSULATION, OHM, OVER, OVER_FARAD, VOLT, Bench, names, step

from meterlog.base.readings import Form
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.walk.happenings import Advised, Captured, NotTaken, Timed

PER_SECOND = {"gap": 1.0}


def how(bench):
    return [(h.step, h.capture.reading.digits, h.capture.how) for h in bench.told if isinstance(h, Captured)]


def test_a_stray_capacitance_is_the_air():
    bench = Bench(step("c", "capacitance"))
    bench.show(FARAD, 4, 20.0)
    bench.show(FARAD, 10230, 5.0)
    assert how(bench) == [("c", "102.30", "settled")]


def test_leads_and_hands_beside_each_other_are_the_air_to_a_meter_of_picofarads():
    picofarads = Form(quantity="capacitance", unit="nF", scale=1e-9, decimals=3)
    bench = Bench(step("c", "capacitance"))
    bench.show(picofarads, [42, 44, 41], 20.0)
    bench.show(picofarads, 1023, 5.0)
    assert how(bench) == [("c", "1.023", "settled")]


def test_a_step_for_a_small_capacitor_takes_less_for_the_air():
    picofarads = Form(quantity="capacitance", unit="nF", scale=1e-9, decimals=3)
    small = Limit(low=42e-12, high=52e-12, unit="F", text="", source="")
    bench = Bench(step("c", "capacitance", limits=(small,)))
    bench.show(picofarads, 9, 4.0)
    bench.show(picofarads, 47, 5.0)
    assert how(bench) == [("c", "0.047", "settled")]


def test_overload_is_an_answer_for_capacitance_when_it_stays():
    bench = Bench(step("c", "capacitance"))
    bench.show(FARAD, 4, 2.0)
    bench.show(OVER_FARAD, None, 4.0)
    assert how(bench) == []
    bench.show(OVER_FARAD, None, 1.5)
    assert how(bench) == [("c", "", "bound held")]


def test_overload_is_no_answer_for_ohms_but_a_foot_switch_may_take_it():
    bench = Bench(step("r"))
    bench.open(30.0)
    assert how(bench) == []
    bench.act("press")
    assert how(bench) == [("r", "", "switch")]


def test_near_zero_volts_are_the_air():
    bench = Bench(step("v", "voltage", mode="dc"))
    bench.show(VOLT, [2, 5, 3], 10.0)
    bench.show(VOLT, 1500, 4.0)
    assert how(bench) == [("v", "1.500", "settled")]


def test_a_voltage_step_with_a_limit_takes_more_for_the_air():
    mains = Limit(low=207.0, high=253.0, unit="V", text="", source="")
    bench = Bench(step("v", "voltage", mode="dc", limits=(mains,)))
    bench.show(VOLT, [6000, 6010], 20.0)
    assert how(bench) == []


def test_insulation_is_measured_while_the_test_runs():
    bench = Bench(step("i", "insulation_resistance"), **PER_SECOND)
    bench.show(INSULATION, None, 5.0)
    bench.show(INSULATION, [9500, 9520, 9510], 12.0)
    assert how(bench) == [("i", "95.10", "settled")]


SAID = "bound held, contact said"


def more_than(bench):
    """A test whose tester shows "> 2.2 GΩ", with a press while it does."""
    bench.show(ABOVE, 22, 3.0)
    bench.act("press")
    bench.show(ABOVE, 22, 4.0)


def test_a_bound_that_leads_off_their_points_give_as_well_is_asked_for_and_not_taken_unsaid():
    bench = Bench(step("i", "insulation_resistance"), **PER_SECOND)
    bench.show(INSULATION, None, 5.0)
    told = bench.show(ABOVE, 22, 20.0)
    words = "more than 2.2 GΩ"
    assert [h.why for h in told if isinstance(h, Advised)] == [
        f"{words}: leads off their points read the same; press while the tips are on them"
    ]
    told = bench.show(INSULATION, None, 2.0)
    assert [h.why for h in told if isinstance(h, NotTaken)] == [
        f"not proved: {words} is what leads off their points read as well; test again, and press then"
    ]
    assert how(bench) == []


def test_what_was_said_in_one_test_is_not_said_in_the_next():
    bench = Bench(step("i", "insulation_resistance"), **PER_SECOND)
    bench.show(INSULATION, None, 5.0)
    bench.show(ABOVE, 22, 3.0)
    bench.act("press")
    bench.show(INSULATION, None, 3.0)
    bench.show(ABOVE, 22, 10.0)
    assert how(bench) == []


def test_a_multimeters_overload_is_no_insulation_reading_however_it_is_pressed():
    bench = Bench(step("i", "insulation_resistance"))
    bench.open(5.0)
    assert names(bench.act("press"))[-1] == "Refused"
    assert how(bench) == []


def test_next_to_nothing_is_taken_on_the_word_of_a_person_alone():
    milliampere = Form(quantity="leakage_current", mode="ac", unit="mA", scale=1e-3, decimals=2)
    bench = Bench(step("l", "leakage_current", mode="ac"))
    bench.show(milliampere, 2, 10.0)
    assert how(bench) == []
    bench.act("press")
    assert how(bench) == [("l", "0.02", "switch")]


def test_hum_of_lifted_leads_is_the_air_however_tight_the_limit():
    tight = Limit(low=5.7, high=6.3, unit="V", text="", source="")
    volts = Form(quantity="voltage", mode="ac", unit="V", scale=1.0, decimals=2)
    bench = Bench(*(step(key, "voltage", mode="ac", limits=(tight,)) for key in "abc"))
    for counts in (605, 600, 610):
        bench.show(volts, [50, 180, 90, 140], 2.0)
        bench.show(volts, counts, 4.0)
    assert [digits for _, digits, _ in how(bench)] == ["6.05", "6.00", "6.10"]


def test_an_insulation_tester_that_shows_volts_at_rest_is_idle():
    bench = Bench(step("i", "insulation_resistance"), **PER_SECOND)
    told = bench.show(VOLT, 0, 5.0)
    more_than(bench)
    assert names(told) == []
    assert how(bench) == [("i", "2.2", SAID)]


def test_a_tester_that_is_silent_at_rest_was_idle():
    bench = Bench(step("i", "insulation_resistance"), **PER_SECOND)
    bench.at = 10.0
    more_than(bench)
    assert how(bench) == [("i", "2.2", SAID)]


def two_tests():
    return Bench(step("i", "insulation_resistance"), step("j", "insulation_resistance"), **PER_SECOND)


def test_silence_between_two_tests_is_a_lift():
    bench = two_tests()
    for _ in range(2):
        bench.at += 10.0
        bench.told += bench.walk.tick(bench.at)
        more_than(bench)
    assert bench.walk.wake_at is None
    assert how(bench) == [("i", "2.2", SAID), ("j", "2.2", SAID)]


def test_silence_is_a_lift_once_it_lasted():
    bench = two_tests()
    bench.at = 10.0
    more_than(bench)
    assert bench.walk.wake_at == 20.0  # three periods after the last value
    assert names(bench.walk.tick(20.0)) == ["Lifted", "StepBegan"]


def test_messages_without_a_value_between_two_tests_are_a_lift():
    bench = two_tests()
    for rests in (1, 2):
        for _ in range(rests):
            bench.at += 1.0
            bench.told += bench.walk.nothing("meter", bench.at)
        more_than(bench)
    assert how(bench) == [("i", "2.2", SAID), ("j", "2.2", SAID)]


def minute(count, **more):
    bench = Bench(step("m", "insulation_resistance", kind=kinds.AT_TIME, at_s=60.0), **PER_SECOND, **more)
    bench.show(INSULATION, None, 3.0)
    bench.show(INSULATION, range(1000, 1000 + count), float(count))
    return bench


def test_one_minute_is_counted_from_the_first_value():
    bench = minute(70)
    capture = next(h.capture for h in bench.told if isinstance(h, Captured))
    assert (capture.reading.digits, capture.how, capture.count, capture.started) == ("10.60", "at time", 1, 64.0)


def test_a_test_that_times_itself_ends_within_a_period_of_the_minute():
    bench = minute(60)
    bench.show(INSULATION, None, 2.0)
    assert how(bench) == [("m", "10.59", "at time")]


def test_a_recording_that_ends_within_a_period_of_the_minute_ends_the_test():
    bench = minute(60)
    bench.told += bench.walk.end(bench.at)
    assert how(bench) == [("m", "10.59", "at time")]


def test_a_test_that_ends_sooner_leaves_nothing():
    bench = minute(50)
    told = bench.show(INSULATION, None, 2.0)
    assert told == [NotTaken(step="m", at=54.0, source="meter", lasted_s=49.0, why="the test ended after 49 s")]
    assert how(bench) == []


def bound_for_a_minute(*, said):
    bench = Bench(step("m", "insulation_resistance", kind=kinds.AT_TIME, at_s=60.0), **PER_SECOND)
    bench.show(INSULATION, None, 3.0)
    bench.show(ABOVE, 22, 30.0)
    if said:
        bench.act("press")
    bench.show(ABOVE, 22, 32.0)
    return bench


def test_a_bound_at_one_minute_that_nobody_said_is_on_the_points_proves_nothing():
    bench = bound_for_a_minute(said=False)
    assert how(bench) == []
    assert [h.why for h in bench.told if isinstance(h, NotTaken)] == [
        "not proved: more than 2.2 GΩ is what leads off their points read as well;"
        " test again, and press with the tips on them"
    ]


def test_a_bound_at_one_minute_is_the_answer_once_said():
    bench = bound_for_a_minute(said=True)
    assert how(bench) == [("m", "2.2", "at time, contact said")]


def thermometer(*keys):
    return Bench(*(step(key, "temperature") for key in keys), **PER_SECOND)


def test_temperature_leaves_the_air_and_finds_a_plateau():
    bench = thermometer("cold", "hot")
    bench.show(CELSIUS, 215, 30.0)
    bench.show(CELSIUS, range(210, 150, -3), 20.0)
    bench.show(CELSIUS, [150, 151, 150], 25.0)
    bench.show(CELSIUS, range(160, 700, 27), 20.0)
    bench.show(CELSIUS, [700, 701, 700], 25.0)
    assert how(bench) == [("cold", "15.0", "settled"), ("hot", "70.0", "settled")]


def test_back_in_the_air_is_no_second_plateau():
    bench = thermometer("cold", "hot")
    bench.show(CELSIUS, 215, 30.0)
    bench.show(CELSIUS, 150, 25.0)
    bench.show(CELSIUS, 215, 60.0)
    assert how(bench) == [("cold", "15.0", "settled")]


def test_the_room_may_drift():
    bench = thermometer("cold")
    for tenths in range(200, 225):
        bench.show(CELSIUS, tenths, 120.0)
    assert how(bench) == []


def test_a_thermometer_that_stays_put_holds_nothing_up():
    bench = Bench(step("t", "temperature"), step("r"), gap=1.0)
    bench.show(CELSIUS, 215, 5.0, source="thermometer")
    bench.show(CELSIUS, 600, 20.0, source="thermometer")
    for _ in range(3):
        bench.show(OVER, None, 1.0)
        bench.show(CELSIUS, 600, 1.0, source="thermometer")
    for _ in range(6):
        bench.show(OHM, 470, 1.0)
        bench.show(CELSIUS, 600, 1.0, source="thermometer")
    assert how(bench) == [("t", "60.0", "settled"), ("r", "47.0", "settled")]


def test_a_step_that_names_an_instrument_hears_no_other():
    bench = Bench(step("r", instrument="bench-meter"))
    bench.open()
    bench.show(OHM, 470, 5.0)
    assert how(bench) == []


def test_a_timed_step_is_switched_by_a_current():
    bench = Bench(step("t", "time", kind=kinds.TIMED, inputs={"switched by": "current"}), gap=0.5)
    bench.show(AMPERE, 0, 3.0)
    bench.show(AMPERE, 1300, 60.0)
    told = bench.show(AMPERE, 0, 2.0)
    assert names(told) == ["Timed", "Captured", "JobDone"]
    assert (told[0].started, told[0].stopped) == (3.25, 63.25)
    assert round(told[0].start_uncertainty_s, 4) == 0.1443  # half a second, rectangular: 0.5 / sqrt(12)
    assert how(bench) == [("t", "60.0", "timed")]


@pytest.mark.parametrize("began", [60.0, 60.37, 60.81])
def test_a_timed_step_is_found_in_a_temperature(began):
    """A rise of 0.2 K/s for a minute, shown in tenths at one reading a second: the ends are known from the script."""
    bench = Bench(step("t", "time", kind=kinds.TIMED, inputs={"switched by": "temperature"}), **PER_SECOND)
    for second in range(1, 181):
        rise = 2.0 * min(max(second - began, 0.0), 60.0)  # tenths of a kelvin
        bench.show(CELSIUS, round(150 + rise), 1.0)
    timed = next(h for h in bench.told if isinstance(h, Timed))
    assert timed.started == pytest.approx(began, abs=3 * timed.start_uncertainty_s)
    assert timed.stopped == pytest.approx(began + 60.0, abs=3 * timed.stop_uncertainty_s)
    assert timed.start_uncertainty_s < 0.3
    assert how(bench) == [("t", f"{timed.stopped - timed.started:.1f}", "timed")]


def test_a_thermometer_is_not_told_to_turn_to_ohms():
    bench = Bench(step("r"))
    assert bench.show(CELSIUS, 215, 5.0, source="thermometer") == []
    assert names(bench.show(VOLT, 1500, 5.0)) == ["WrongFunction"]


def test_a_plateau_that_was_captured_is_no_second_answer():
    bench = Bench(step("cold", "temperature"), step("r"), step("hot", "temperature"), gap=1.0)
    bench.show(CELSIUS, 215, 5.0, source="thermometer")
    bench.show(CELSIUS, 150, 25.0, source="thermometer")
    bench.open(2.0)
    bench.show(OHM, 470, 8.0)
    bench.show(CELSIUS, 150, 60.0, source="thermometer")
    assert [key for key, _, _ in how(bench)] == ["cold", "r"]
    bench.show(CELSIUS, 600, 25.0, source="thermometer")
    assert how(bench)[-1] == ("hot", "60.0", "settled")


def test_a_probe_goes_from_one_warm_thing_to_the_next():
    """It never rests in the air between, and another step is answered meanwhile."""
    bench = Bench(step("warm", "temperature"), step("r"), step("warmer", "temperature"), **PER_SECOND)
    bench.show(CELSIUS, 213, 3.0, source="probe")
    bench.show(CELSIUS, 600, 22.0, source="probe")
    bench.show(CELSIUS, range(500, 300, -40), 5.0, source="probe")
    bench.open(3.0)
    bench.show(OHM, 470, 6.0)
    bench.show(CELSIUS, 650, 22.0, source="probe")
    assert how(bench) == [("warm", "60.0", "settled"), ("r", "47.0", "settled"), ("warmer", "65.0", "settled")]
