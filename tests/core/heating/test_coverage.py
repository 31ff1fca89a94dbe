"""Random loads: ±U must hold the true power as often as it says.

Masses, times and thermometers err by what the budget states. Vessels, heaters and rooms are physical: a wall
wetted for the most part and a dry rest that follows in minutes, an element that gives its heat late, a hot plate
that keeps its own when the pan is lifted, a generator that warms up. Asked for is the power at full output. The
interval is of 95.45 %; asked are 93 to 97 %, and a mean error below a quarter of the standard uncertainty.
"""

from dataclasses import replace

import numpy as np
import pytest
import score_heating
from heating_simulator import Bench, csv_text
from score_heating import score

from meterlog.heating import Load, read_mass, read_moment, read_stated, read_trace, read_vessel, run

RUNS = 200
"""`tests/trials/heating.md` has the tables of thousands."""
pytestmark = pytest.mark.simulation
KINDS = ("ramp", "stated", "out", "power", "hob")


def rectangle(rng, half_width):
    return rng.uniform(-half_width, half_width)


VESSELS = {  # J/(kg K) and its half width (handbooks); part wetted, and s that the dry rest follows in, from and to
    # (common practice, no source; heat goes up a wall by sqrt(a t): 0.8 cm of glass, 2 cm of steel in 100 s)
    "glass": ((820, 60), (0.65, 1.0), (150, 600)),
    "steel": ((500, 20), (0.7, 0.95), (40, 150)),
    "aluminium": ((900, 20), (0.8, 1.0), (15, 60)),
}


def vessel_of(rng, kind, mass):
    """(words for the command, physics) of a vessel for so much water; not stated, now and then."""
    material = str(rng.choice(["steel", "aluminium"] if kind == "hob" else ["none", "glass", "glass", "steel"]))
    if material == "none":
        share, follows = float(rng.uniform(0, 0.06)), float(rng.uniform(5, 40))
        return None, {"vessel": share * 4186 * mass, "vessel_lag": follows}
    (heat, half), wetted, follows = VESSELS[material]
    stated = float(rng.uniform(0.25, 0.6)) * mass ** (2 / 3)
    capacity = stated * (1 + rectangle(rng, 0.01)) * (heat + rectangle(rng, half))
    wet = float(rng.uniform(*wetted))
    physics = {"vessel": capacity * wet, "dry": capacity * (1 - wet), "vessel_lag": float(rng.uniform(3, 15)),
               "dry_lag": float(rng.uniform(*follows))}  # fmt: skip
    return f"{stated * 1000:.1f} g {material}", physics


def heater_of(rng, kind, seconds):
    """A heater's own lag: a plate's heat stays in it, an element's comes into the water late."""
    if kind == "hob":
        return {"heater_lag": float(rng.uniform(8, min(40, seconds / 11))), "lifted": True}
    return (
        {"heater_lag": float(rng.choice([0, 0, rng.uniform(1, 6)]))}
        if kind != "out"
        else {"warm_up": float(rng.uniform(1, 3))}
    )


def draw(seed):
    """(kind, bench, options) of one random run."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    stated_mass = float(rng.choice([0.5, 1.0, 1.0, 1.7, 4.0]))
    words, vessel = vessel_of(rng, kind, stated_mass)
    power = float(rng.uniform(500, {"out": 1000, "hob": min(2000, 1400 * stated_mass)}.get(kind, 2500)))
    rise = float(rng.uniform(9, 45)) if kind != "out" else float(rng.uniform(9, 25))
    if kind in ("ramp", "hob"):  # shorter ones are refused
        rise = max(rise, {"ramp": 60, "hob": 180}[kind] * power / stated_mass / 4186)
    start = float(rng.uniform(40, 90))
    stop = start + stated_mass * 4186 * rise / power
    room = float(rng.uniform(17, 25))
    size = stated_mass ** (2 / 3)
    bench = Bench(
        power=power, mass=stated_mass + rectangle(rng, max(0.002, 0.002 * stated_mass)), **vessel,
        **heater_of(rng, kind, stop - start), loss=1.1 * size * float(np.exp(rng.normal(0, 0.7))),
        open=0.0284 * size * max(float(rng.normal(0.3, 0.25)), 0), room=room, first=float(rng.uniform(9, 24)),
        start=start, stop=stop, end=stop + float(rng.uniform(90, 240)),
        interval=float(rng.choice([0.5, 1.0, 1.0, 2.0])), display=float(rng.choice([0.1, 0.1, 0.01])),
        noise=float(rng.uniform(0, 0.06)), probe_lag=float(rng.uniform(0.5, 8)), offset=rectangle(rng, 0.5),
        gain=float(rng.normal(0, 0.002)), salt=float(rng.normal(0, 0.001)), seed=seed,
    )  # fmt: skip
    options = {"mass": f"{stated_mass * 1000:g} g", "vessel": words}
    options["ambient"] = f"{room + rectangle(rng, 1.0):.2f} °C ± 1 K"
    bench = replace(bench, mixing=float(rng.normal(0, 0.05 * 2**0.5)))
    if kind in ("stated", "out"):
        hand = 0.3 / 2**0.5
        options |= {"start": f"{start + rectangle(rng, hand):.3f}", "stop": f"{stop + rectangle(rng, hand):.3f}"}
    if kind == "out":
        bench = replace(bench, out=(start - 8, stop + 10))
    return kind, bench, options


def true_power(bench, vessel):
    """Heat per second at full output, W: into water and stated vessel, or into the water alone, its vessel as warm."""
    water = 4180 * bench.mass
    return bench.power * (1.0 if vessel else water / (water + bench.vessel))


def errors_of(seed):
    """(kind, error over u, error over U, u over the power) of one random run; None when it was refused."""
    kind, bench, options = draw(seed)
    vessel = {"vessel": read_vessel(options["vessel"])} if options["vessel"] else {}
    text = csv_text(bench, power=kind == "power", hole=seed % 10 == 2)
    answer = run(
        read_trace(text, f"run {seed}"),
        (Load(mass=read_mass(options["mass"]), **vessel),),
        ambient=read_stated(options["ambient"], "kelvin", "delta_degC"),
        start=read_moment(options["start"]) if "start" in options else None,
        stop=read_moment(options["stop"]) if "stop" in options else None,
    )
    if answer.power is None:
        return None
    error = answer.power - true_power(bench, options["vessel"])
    return (
        kind,
        error / answer.useful.standard_uncertainty,
        error / answer.useful.expanded_uncertainty,
        answer.useful.standard_uncertainty / answer.power,
    )


@pytest.fixture(scope="module")
def errors():
    return [found for found in map(errors_of, range(RUNS)) if found is not None]


def test_hardly_any_good_run_is_refused(errors):
    """Those of a probe that was out while it started or ended at the room's temperature are refused rightly."""
    assert len(errors) >= 0.95 * RUNS


def test_the_interval_holds_the_true_power_as_often_as_it_says(errors):
    inside = sum(abs(over) <= 1 for _, _, over, _ in errors) / len(errors)
    assert 0.92 <= inside <= 0.985  # 95.45 % of 200 is 191 ± 3: outside these once in a thousand times


def test_there_is_no_bias_to_speak_of(errors):
    """The mean of 200 is known to 0.07 u."""
    assert abs(np.mean([over for _, over, _, _ in errors])) < 0.25


GENERATORS = {  # runs of each kind, probes that were out, of each kind that meets them
    "heated_loads": (8, ("left out", "in air before")),
    "calorimeter_bench": (8, ("never back", "air before")),
}


@pytest.fixture(scope="module", params=GENERATORS)
def by_kind(request):
    """What was told, and what was refused, of runs that share nothing with the program."""
    kinds = score_heating.GENERATORS[request.param][1]
    scored = [score(kind, GENERATORS[request.param][0], 5_000, generator=request.param) for kind in kinds]
    return [each for told, _ in scored for each in told], [each for _, refused in scored for each in refused]


def test_a_generator_that_shares_nothing_with_the_program_agrees(by_kind):
    """48 or 56 runs: 95.45 % of 48 is 46 ± 1.5; the mean error of all is known to 0.14 u."""
    told, _ = by_kind
    assert sum(each.is_so for each in told) >= 0.87 * len(told)
    assert abs(np.mean([each.in_u for each in told if not each.one_sided])) < 0.45


def test_hardly_any_of_them_is_refused_where_somebody_says_that_they_stirred(by_kind):
    assert len(by_kind[1]) <= 3


@pytest.mark.parametrize(
    ("generator", "fault"), [(name, fault) for name, (_, faults) in GENERATORS.items() for fault in faults]
)
def test_no_number_comes_from_a_probe_that_was_out(generator, fault):
    """Of an oven, whose probe is out while it runs: what is told of the side on which it was in counts for nothing."""
    oven = score_heating.GENERATORS[generator][4][0]
    told, refused = score(oven, 15, 7_000, fault, generator=generator)
    assert told == []
    assert len(refused) == 15


@pytest.mark.parametrize("kind", ["oven", "kettle", "hob"])
def test_a_probe_put_back_half_way_makes_no_claim_that_is_not_so(kind):
    told, _ = score(kind, 12, 9_000, "half way", generator="calorimeter_bench", says=False)
    assert all(each.is_so for each in told), told
