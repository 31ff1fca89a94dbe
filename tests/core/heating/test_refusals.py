"""What is politely refused, in whole sentences, and what is answered all the same."""

from dataclasses import replace

import numpy as np
import pytest
from heating_simulator import Bench, simulate

from meterlog.heating import HeatingTrace, Load, LoggedQuantity, read_mass, read_moment, read_stated, read_vessel, run

KETTLE = Bench(power=2000, first=18, start=30, stop=170, end=300, loss=1.5, probe_lag=5)
OVEN = replace(KETTLE, power=750, first=10, start=60, stop=180, out=(50, 190), warm_up=2)
STATED = {"start": "60 s", "stop": "180 s"}
NOISE = np.random.default_rng(1)


def answer(bench, change=lambda t, v: v, **times):
    clock, shown, _ = simulate(bench)
    shown = np.round(change(clock, shown), 1) + 273.15
    kept = ~np.isnan(shown)
    series = LoggedQuantity(times=tuple(clock[kept]), values=tuple(shown[kept]), resolution=0.1)
    room = read_stated("21 °C", "kelvin")
    moments = {key: read_moment(text) for key, text in times.items()}
    return run(HeatingTrace(temperature=series), (Load(mass=read_mass("1000 g ± 2 g")),), ambient=room, **moments)


def later(seconds, shape):
    return lambda t, v: v + np.where(t > seconds, shape(t - seconds), 0.0)


def in_air(t, v):
    return np.where(t < 60, 21, v)


NOT_STIRRED = "plateau: the load was not stirred, or the probe not held still: "
REFUSED = [  # what happened, bench, change, stated times, the whole reason
    ("the log ends while the probe still rises", replace(OVEN, end=210, probe_lag=10), None, STATED,
     "plateau: still rising by 0.417 K/s at the end: no plateau"),
    ("the log ends while heating", replace(KETTLE, end=150), None, {},
     "plateau: still rising by 0.450 K/s at the end: no plateau"),
    ("nothing was logged after it", replace(KETTLE, end=170), None, {"start": "30", "stop": "170"},
     "plateau: the trace ends before a plateau could form"),
    ("layers drift past the probe", OVEN, later(190, lambda t: np.sin(2 * np.pi * t / 20)), STATED,
     NOT_STIRRED + "the temperature wanders after heating"),
    ("the probe jitters", OVEN, later(190, lambda t: NOISE.normal(0, 1, t.size)), STATED,
     NOT_STIRRED + "readings scatter by 0.89 K"),
    ("a hot layer sinks slowly", OVEN, later(190, lambda t: 3 * np.exp(-t / 60)), STATED,
     NOT_STIRRED + "the temperature falls by 0.021 K/s, faster than this load cools"),
    ("the probe slips", KETTLE, later(220, lambda t: t * 0 - 4), {},
     "plateau: the probe moved: -4.0 K at 220 s, after the plateau had begun"),
    ("an oven boils its load", replace(OVEN, first=60, stop=400, out=(50, 405), end=500, boils=99.8), None,
     {"start": "60", "stop": "400"},
     "plateau: boiling: a level near the boiling point tells no rise, and steam carries heat away"),
    ("nobody says when an oven ran", OVEN, lambda t, v: np.where((t > 50) & (t < 190), np.nan, v), {},
     "start and stop of heating: the rise is no straight ramp between two levels: the probe was not in the load "
     "throughout"),
    ("nothing was heated", replace(KETTLE, power=0), None, {},
     "start and stop of heating: the temperature rises by only 0.1 K, or too few readings see it"),
    ("a probe is put into hot water", replace(KETTLE, power=0, first=60, out=(0, 60)), in_air,
     {}, "start and stop of heating: the rise is no straight ramp between two levels: the probe was not in the load "
     "throughout"),
    ("nobody says when it stopped", KETTLE, None, {"start": "30"}, "stated times: start was stated without stop"),
    ("nobody says when it started", KETTLE, None, {"stop": "170"}, "stated times: stop was stated without start"),
    ("it starts before the log", KETTLE, None, {"start": "-20 s", "stop": "170"},
     "stated times: start was stated as -20 s, outside the trace, which runs from 0 s to 300 s"),
    ("it stops after the log", KETTLE, None, {"start": "0.5 min", "stop": "17 min"},
     "stated times: stop was stated as 1020 s, outside the trace, which runs from 0 s to 300 s"),
    ("stop and start are exchanged", KETTLE, None, {"start": "170", "stop": "30"},
     "stated times: heating stops at 30 s, before it starts at 170 s"),
]  # fmt: skip


@pytest.mark.parametrize(("bench", "change", "times", "reason"), [r[1:] for r in REFUSED], ids=[r[0] for r in REFUSED])
def test_a_run_that_tells_no_power_says_why(bench, change, times, reason):
    got = answer(bench, change or (lambda t, v: v), **times)
    assert got.power is None
    assert [f"{part.what}: {part.why}" for part in got.refused] == [reason]
    assert got.refused[0].advice


def test_a_kettle_that_boils_is_measured_on_the_way():
    got = answer(replace(KETTLE, stop=230, boils=99.9))
    assert got.power == pytest.approx(2000, abs=got.useful.expanded_uncertainty)
    assert got.refused[0].why.startswith("boiling")


def test_a_probe_pulled_out_after_the_plateau_does_no_harm():
    got = answer(OVEN, lambda t, v: np.where(t > 230, 21 + (v - 21) * np.exp(-(t - 230) / 20), v), **STATED)
    assert got.power == pytest.approx(750, abs=got.useful.expanded_uncertainty)


LOADS = [  # vessel, weighed again, the whole reason; 12 kg of glass in a litre: 12 × 820 × 0.8 J/K by hand
    ("12 kg glass + 6 kg steel", None,
     "vessel: the vessel stated takes 10572 J/K, more than 2 times its 1000 g of water"),
    ("340 g glass", "1020 g ± 2 g", "evaporation: the water weighed 20.0 g more after the run than before"),
]  # fmt: skip


@pytest.mark.parametrize(("vessel", "after", "reason"), LOADS)
def test_a_load_that_cannot_be_is_refused(vessel, after, reason):
    clock, shown, _ = simulate(KETTLE)
    series = LoggedQuantity(times=tuple(clock), values=tuple(shown + 273.15), resolution=0.1)
    got = run(
        HeatingTrace(temperature=series),
        (
            Load(
                mass=read_mass("1000 g ± 2 g"), vessel=read_vessel(vessel),
                mass_after=read_mass(after) if after else None,
            ),
        ),
    )  # fmt: skip
    assert got.power is None
    assert [f"{part.what}: {part.why}" for part in got.refused] == [reason]
