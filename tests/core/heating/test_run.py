"""A heating run on traces whose true power is known."""

import math
from dataclasses import replace

import pytest
from heating_simulator import Bench, csv_text, mean_power, simulate

from meterlog.heating import NO_VESSEL, Load, Plate, read_mass, read_moment, read_stated, read_trace, read_vessel, run
from meterlog.heating.answer.rating import plate_limit
from meterlog.judging import Outcome

VESSEL = "250 J/K ± 10 J/K"


def found(bench, *, start=None, stop=None, mass="1000 g ± 2 g", vessel=VESSEL, **more):
    text = csv_text(bench, **{key: more.pop(key) for key in ("power", "hole", "efficiency") if key in more})
    return run(
        read_trace(text, "run.csv"),
        (Load(mass=read_mass(mass), vessel=read_vessel(vessel) if vessel else NO_VESSEL),),
        ambient=read_stated("21 °C", "kelvin"),
        start=read_moment(start) if start else None,
        stop=read_moment(stop) if stop else None,
        **more,
    )


def plate(text):
    return Plate(limit=plate_limit(read_stated(text, "watt")))


URN = Bench(power=2500, mass=8, vessel=250, loss=8, start=120, stop=900, end=1300, interval=2)
OVEN = Bench(power=800, first=12, vessel=250, out=(50, 195), warm_up=2)
HALF = Bench(power=900, first=12, vessel=250, on=11, period=22, stop=280, end=420)
KNOWN = [  # what stood on the bench, how start and stop are known
    ("a kettle with its probe in", Bench(vessel=250), {}),
    ("the same, times stated", Bench(vessel=250), {"start": "60 s", "stop": "180 s"}),
    ("a slow probe", Bench(vessel=250, probe_lag=12, end=400), {}),
    ("an urn that loses much", URN, {"mass": "8 kg ± 10 g"}),
    ("a microwave oven, the probe in the room's air", OVEN, {"start": "60", "stop": "180"}),
    ("a microwave oven, no readings meanwhile", OVEN, {"start": "60", "stop": "180", "hole": True}),
    ("times from the power column", Bench(vessel=250), {"power": True}),
    ("half power by cycling", HALF, {"power": True}),
]


PLATE = Bench(power=1500, vessel=250, heater_lag=25, lifted=True, first=18, mass=2, stop=360, end=480)
HOT_PLATE = [  # how start and stop are known, times and thermometer
    ("of the trace alone", PLATE, {}),
    ("stated", PLATE, {"start": "60 s", "stop": "360 s"}),
    ("read every five seconds", replace(PLATE, interval=5.0), {}),
    ("read to 1 K", replace(PLATE, display=1.0), {}),
]


@pytest.mark.parametrize(("bench", "known"), [case[1:] for case in HOT_PLATE], ids=[case[0] for case in HOT_PLATE])
def test_heat_that_a_plate_kept_when_the_pan_was_lifted_is_no_time_at_full_output(bench, known):
    answer = found(bench, mass="2 kg ± 2 g", **known)
    assert mean_power(bench) == pytest.approx(1375, abs=0.1), "by hand: 1500 (1 - 25 / 300), its last e-12 aside"
    assert answer.power == pytest.approx(1500, abs=answer.useful.expanded_uncertainty)
    assert answer.useful.clock_mean == pytest.approx(1375, abs=answer.useful.expanded_uncertainty)
    assert answer.useful.expanded_uncertainty < 0.05 * 1500


def test_the_ramp_is_steady_power_whatever_the_plate_kept():
    answer = found(PLATE, mass="2 kg ± 2 g", method="ramp")
    assert answer.power == pytest.approx(1500, abs=answer.useful.expanded_uncertainty)
    alone = found(PLATE, mass="2 kg ± 2 g")
    assert "heat that the heater kept" in [part.what for part in alone.applied]


def test_an_element_that_gives_its_heat_late_keeps_none():
    answer = found(replace(PLATE, heater_lag=8, lifted=False), mass="2 kg ± 2 g")
    assert answer.founds[0].along.kept == 0.0
    assert answer.power == pytest.approx(1500, abs=answer.useful.expanded_uncertainty)


@pytest.mark.parametrize(("bench", "known"), [case[1:] for case in KNOWN], ids=[case[0] for case in KNOWN])
def test_the_power_is_within_its_uncertainty(bench, known):
    answer = found(bench, **known)
    assert answer.power == pytest.approx(bench.power, abs=answer.useful.expanded_uncertainty)
    assert answer.useful.expanded_uncertainty < 0.05 * bench.power


def test_start_and_stop_are_found_to_a_fraction_of_a_sample():
    heating = found(Bench(vessel=250, start=60.4, stop=183.3, interval=2.0)).heating
    assert heating.start == pytest.approx(60.4, abs=1.3)
    assert heating.duration == pytest.approx(122.9, abs=0.7)


def test_the_verdict_is_by_the_rules_of_every_other_check():
    assert found(Bench(vessel=250), plate=plate("900 W")).verdict.outcome is Outcome.PASS
    assert found(Bench(vessel=250), plate=plate("1200 W"), stirred=("before",)).verdict.outcome is Outcome.FAIL
    assert found(Bench(vessel=250), plate=plate("1060 W"), stirred=("before",)).verdict.outcome is Outcome.UNDECIDED
    assert found(Bench(vessel=250)).verdict.outcome is Outcome.NOT_JUDGED


def test_the_budget_adds_up_and_names_what_would_help():
    answer = found(Bench(vessel=250))
    assert math.hypot(*(line.contribution for line in answer.useful.budget)) == pytest.approx(
        answer.useful.standard_uncertainty
    )
    assert all(better.expanded_then < better.expanded_now for better in answer.useful.improvements)
    assert len(answer.useful.improvements) > 1


def test_a_lagging_probe_in_a_cooling_load_is_not_believed_late():
    bench = Bench(power=900, first=17, loss=6, probe_lag=10, out=(50, 190), noise=0.0, display=0.01, end=420)
    times, water, _ = simulate(replace(bench, probe_lag=0.0, out=()))
    true = float(water[list(times).index(bench.stop)])
    last = found(bench, vessel=None, start="60", stop="180").founds[0].last
    assert last.kelvin - 273.15 == pytest.approx(true, abs=0.03)


def paused(bench, first, last, **known):
    """A run that a thermostat interrupts: heated again for as long as it paused, after `first` to `last`."""
    whole = replace(bench, period=last - bench.start, on=first - bench.start)
    return found(whole, **known)


CUT = Bench(vessel=250, power=900, stop=210, end=330, noise=0.01)  # on for 90 s, off for 30 s, on for 30 s


def test_a_thermostats_pause_seen_in_the_log_does_not_count_even_within_stated_times():
    answer = paused(CUT, 150.0, 180.0, power=True, start="60", stop="210")
    assert answer.power == pytest.approx(900, abs=answer.useful.expanded_uncertainty)
    assert answer.useful.expanded_uncertainty < 0.05 * 900
    assert paused(CUT, 150.0, 180.0, power=True).power == pytest.approx(answer.power, rel=0.02)


def test_a_pause_that_no_log_tells_is_seen_in_the_trace_and_does_not_count():
    answer = paused(CUT, 150.0, 180.0, start="60", stop="210")
    assert answer.power == pytest.approx(900, abs=answer.useful.expanded_uncertainty)
    assert answer.useful.clock_mean == pytest.approx(720, abs=0.03 * 720), "by hand: 900 × 120 / 150"
    part = next(part for part in answer.applied if part.what == "pause seen in the trace")
    assert part.why.endswith(": the temperature stood still, so nothing was heated")
    assert not found(Bench(vessel=250), start="60", stop="180").heating.pauses
