"""A thousand runs whose errors are drawn from what the budget states: ±U must hold the true power as often as it says.

The simulator and the draws know the physics and the stated doubts only. The interval is of 95.45 %;
asked are 93 to 97 %, and a mean error below a quarter of the standard uncertainty.
"""

from dataclasses import replace

import numpy as np
import pytest
from heating_simulator import Bench, csv_text

from meterlog.heating import read_mass, read_moment, read_stated, read_trace, read_vessel, run

RUNS = 1000


def rectangle(rng, half_width):
    return rng.uniform(-half_width, half_width)


def draw(seed):
    """(kind, bench, options) of one random run."""
    rng = np.random.default_rng(seed)
    kind = ("ramp", "stated", "out", "power")[seed % 4]
    stated_mass = float(rng.choice([0.5, 1.0, 1.0, 1.7, 4.0]))
    glass = float(rng.choice([0.0, 0.34, 0.5]))
    capacity = glass * (1 + rectangle(rng, 0.01)) * (820 + rectangle(rng, 60)) * (0.85 + rectangle(rng, 0.15))
    power = float(rng.uniform(500, 2500)) if kind != "out" else float(rng.uniform(500, 1000))
    rise = float(rng.uniform(9, 45)) if kind != "out" else float(rng.uniform(9, 25))
    if kind == "ramp":  # shorter ones are refused
        rise = max(rise, 60 * power / stated_mass / 4186)
    start = float(rng.uniform(40, 90))
    stop = start + stated_mass * 4186 * rise / power
    room = float(rng.uniform(17, 25))
    size = stated_mass ** (2 / 3)
    bench = Bench(
        power=power, mass=stated_mass + rectangle(rng, max(0.002, 0.002 * stated_mass)),
        vessel=capacity, vessel_lag=float(rng.uniform(3, 15)), loss=1.1 * size * float(np.exp(rng.normal(0, 0.7))),
        open=0.0284 * size * max(float(rng.normal(0.3, 0.25)), 0), room=room, first=float(rng.uniform(9, 24)),
        start=start, stop=stop, end=stop + float(rng.uniform(90, 240)),
        interval=float(rng.choice([0.5, 1.0, 1.0, 2.0])), display=float(rng.choice([0.1, 0.1, 0.01])),
        noise=float(rng.uniform(0, 0.06)), probe_lag=float(rng.uniform(0.5, 8)), offset=rectangle(rng, 0.5),
        gain=float(rng.normal(0, 0.002)), salt=float(rng.normal(0, 0.001)), seed=seed,
    )  # fmt: skip
    options = {"mass": f"{stated_mass * 1000:g} g", "vessel": f"{glass * 1000:g} g glass" if glass else None}
    options["ambient"] = f"{room + rectangle(rng, 1.0):.2f} °C ± 1 K"
    bench = replace(bench, mixing=float(rng.normal(0, 0.05 * 2**0.5)))
    if kind in ("stated", "out"):
        hand = 0.3 / 2**0.5
        options |= {"start": f"{start + rectangle(rng, hand):.3f}", "stop": f"{stop + rectangle(rng, hand):.3f}"}
    if kind == "out":
        bench = replace(bench, out=(start - 8, stop + 10))
    return kind, bench, options


def errors_of(seed):
    """(kind, error over u, error over U, u over the power) of one random run; None when it was refused."""
    kind, bench, options = draw(seed)
    vessel = {"vessel": read_vessel(options["vessel"])} if options["vessel"] else {}
    text = csv_text(bench, power=kind == "power", hole=seed % 8 == 2)
    answer = run(
        read_trace(text, f"run {seed}"),
        read_mass(options["mass"]),
        ambient=read_stated(options["ambient"], "kelvin", "delta_degC"),
        start=read_moment(options["start"]) if "start" in options else None,
        stop=read_moment(options["stop"]) if "stop" in options else None,
        **vessel,
    )
    if answer.power is None:
        return None
    error = answer.power - bench.power
    return (
        kind,
        error / answer.standard_uncertainty,
        error / answer.expanded_uncertainty,
        answer.standard_uncertainty / answer.power,
    )


@pytest.fixture(scope="module")
def errors():
    return [found for found in map(errors_of, range(RUNS)) if found is not None]


def test_hardly_any_good_run_is_refused(errors):
    assert len(errors) >= 0.99 * RUNS


def test_the_interval_holds_the_true_power_as_often_as_it_says(errors):
    inside = sum(abs(over) <= 1 for _, _, over, _ in errors) / len(errors)
    assert 0.93 <= inside <= 0.97


def test_there_is_no_bias_to_speak_of(errors):
    assert abs(np.mean([over for _, over, _, _ in errors])) < 0.25
