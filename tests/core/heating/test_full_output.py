"""One meaning of power on every path: at full output, the warm-up taken off, the mean over the clock beside it."""

from dataclasses import replace

import pytest
from heating_simulator import Bench, csv_text, mean_power

from meterlog.base.errors import WrongValue
from meterlog.heating import Load, Plate, read_mass, read_moment, read_room, read_stated, read_trace, read_vessel, run
from meterlog.heating import read_warm_up as warm_up
from meterlog.heating.answer.rating import plate_limit, read_plate
from meterlog.heating.answer.unstated import Unstated
from meterlog.heating.answer.words import as_dict, as_text
from meterlog.judging import Outcome

LOAD = Load(mass=read_mass("1000 g ± 2 g"), vessel=read_vessel("250 J/K ± 10 J/K"))
BARE = Load(mass=read_mass("1000 g ± 2 g"))
OVEN = Bench(power=800, first=12, vessel=250, start=60, stop=150, end=300, warm_up=2.4, out=(50, 158), interval=0.5)
KETTLE = Bench(power=900, vessel=250)


def told(bench, load=LOAD, *, power=False, start="60", stop="150", **more):
    text = csv_text(bench, power=power)
    if power:  # a filament draws a third of full power while it warms
        rows = (row.split(",") for row in text.splitlines()[1:])
        since = {t: float(t) - bench.start for t, _, _ in (row.split(",") for row in text.splitlines()[1:])}
        text = "\n".join(
            ["t_s,temperature_C,power_W"]
            + [f"{t},{c},{'450' if 0 <= since[t] < bench.warm_up else p}" for t, c, p in rows]
        )
    times = {"start": read_moment(start), "stop": read_moment(stop)} if start else {}
    return run(read_trace(text, "run.csv"), (load,), ambient=read_room("21 °C"), **times, **more)


def test_log_and_stopwatch_of_one_oven_agree_and_both_hold_its_full_output():
    by_log, by_hand = told(OVEN, power=True, start=""), told(OVEN)
    assert by_log.warm_up.how == "seen in the log"
    assert by_hand.warm_up.how.startswith("usual, not seen and not stated")
    for answer in (by_log, by_hand):
        assert answer.power == pytest.approx(800, abs=answer.useful.expanded_uncertainty)
        assert answer.useful.clock_mean == pytest.approx(mean_power(OVEN), rel=0.02)
        assert answer.useful.clock_mean < answer.power
    assert abs(by_log.power - by_hand.power) < by_hand.useful.expanded_uncertainty
    assert "warm-up time" in [line.name for line in by_hand.useful.budget]
    assert "warm-up time" not in [line.name for line in by_log.useful.budget]


def test_a_stated_warm_up_stands_before_the_usual_one_and_behind_one_that_was_seen():
    stated = told(OVEN, warm_up=warm_up("2.4 s ± 0.2 s"))
    assert (stated.warm_up.how, stated.warm_up.seconds) == ("stated", 2.4)
    assert stated.useful.expanded_uncertainty < told(OVEN).useful.expanded_uncertainty
    assert told(OVEN, power=True, start="", warm_up=warm_up("9 s")).warm_up.how == "seen in the log"


def test_none_is_taken_off_where_the_probe_stood_in_the_load():
    answer = told(KETTLE, stop="180")
    assert answer.warm_up.seconds == 0.0
    assert answer.warm_up.how == "none: the probe stood in the load while it ran"
    assert answer.power == pytest.approx(900, abs=answer.useful.expanded_uncertainty)


def test_both_powers_are_printed_and_which_the_plate_is_held_against():
    answer = told(OVEN, plate=Plate(limit=plate_limit(*read_plate("800 W"))))
    data = as_dict(answer)
    assert data["power_W"] == answer.power
    assert data["clock_mean_W"] == answer.useful.clock_mean
    assert data["detected"]["warm_up_s"] == 2.0
    assert data["detected"]["full_output_s"] == pytest.approx(88.0)
    assert "held against full output" in data["compared"]
    lines = as_text(answer).splitlines()
    assert lines[0].startswith("useful power at full output ")
    assert lines[1].startswith("mean over the clock ")
    assert any("warm-up 2.0 s ± 1.0 s, usual" in line for line in lines)


@pytest.mark.parametrize("text", ["-1 s", "2 min", "2 kg"])
def test_what_is_no_warm_up_is_refused(text):
    with pytest.raises(WrongValue):
        warm_up(text)


def test_a_warm_up_as_long_as_the_run_tells_no_power():
    short = replace(OVEN, power=5000, stop=75, out=(50, 83))
    answer = told(short, stop="75", warm_up=warm_up("20 s"))
    assert [part.why for part in answer.refused] == ["the warm-up takes all of the 15.0 s of heating"]


HELD = [  # plate, outcome of a power that is a lower bound, words
    ("1300 W", Outcome.UNDECIDED, "The vessel was not stated, so the power is a lower bound: below 1.105 kW it proves "
     "nothing."),
    ("900 W", Outcome.PASS, "that it is at most 1.035 kW is not shown."),
    ("700 W", Outcome.FAIL, "lies outside the limits"),
]  # fmt: skip


@pytest.mark.parametrize(("plate", "outcome", "words"), HELD)
def test_a_vessel_that_was_not_stated_makes_a_lower_bound_that_cannot_fail_for_being_low(plate, outcome, words):
    known = {"plate": Plate(limit=plate_limit(read_stated(plate, "watt"))), "stirred": ("before", "after")}
    answer = told(KETTLE, BARE, stop="180", **known)
    assert answer.unstated == Unstated(more=("the vessel was not stated",))
    assert answer.verdict.outcome is outcome
    assert words in answer.verdict.why
    whole = told(KETTLE, stop="180", **known)
    assert whole.verdict.outcome is (Outcome.FAIL if plate != "900 W" else Outcome.PASS)


WRONG_TIMES = [  # heated, stated from and to; the trace rises at other times, and no still stretch stands before
    (Bench(power=900, vessel=250, start=8, stop=128, end=300), "40", "100"),
    (Bench(power=900, vessel=250, start=60, stop=240, end=400), "20", "60"),
]


@pytest.mark.parametrize(("bench", "start", "stop"), WRONG_TIMES)
def test_stated_times_that_the_trace_contradicts_are_refused_not_set_aside(bench, start, stop):
    answer = told(bench, start=start, stop=stop)
    assert answer.power is None
    assert answer.refused[0].what in ("stated times", "plateau", "probe in the load")


def test_stated_times_stay_where_the_ramp_tells_the_power():
    answer = told(Bench(power=900, vessel=250, start=6, stop=126, end=300), start="6", stop="126")
    assert answer.founds[0].along is not None
    assert (answer.heating.start, answer.heating.stop, answer.heating.how) == (6.0, 126.0, "stated")
    assert answer.power == pytest.approx(900, abs=answer.useful.expanded_uncertainty)
