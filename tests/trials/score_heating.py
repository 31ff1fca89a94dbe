"""Scores heating runs with a known truth, of either generator.

`PYTHONPATH=.:tests/trials python tests/trials/score_heating.py GENERATOR [runs of a kind] [of a fault] [first seed]`

Prints the tables of `tests/trials/heating.md`: how often U holds the power at full output, the mean error in u, what
was refused, by kind of appliance; then what is told of a probe that was out of the load. A person says what is true of
having stirred with the probe in the load, or, of the faults, nothing.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass

import calorimeter_bench
import heated_loads
import numpy as np

from meterlog.heating import NO_VESSEL, Load, read_mass, read_moment, read_room, read_trace, read_vessel, run


def of_heated_loads(kind, fault, seeds):
    return heated_loads.simulate([heated_loads.draw(seed, kind, fault) for seed in seeds])


def of_calorimeter_bench(kind, fault, seeds):
    return [calorimeter_bench.make_run(kind, fault, seed) for seed in seeds]


GENERATORS = {  # what draws, kinds, faults, no fault, the kind that meets faults
    "heated_loads": (of_heated_loads, heated_loads.KINDS, heated_loads.FAULTS, "none", ("oven, stopwatch",)),
    "calorimeter_bench": (
        of_calorimeter_bench, calorimeter_bench.KINDS, calorimeter_bench.FATES[1:], "in", ("oven", "kettle", "hob"),
    ),
}  # fmt: skip


def answer(drawn, stirred=()):
    """What the program tells of a run as it was logged and stated."""
    said = drawn.stated
    vessel = read_vessel(said["vessel"]) if "vessel" in said else NO_VESSEL
    after = read_mass(said["after"]) if "after" in said else None
    load = Load(mass=read_mass(said["mass"]), vessel=vessel, mass_after=after)
    times = {key: read_moment(said[key]) for key in ("start", "stop") if key in said}
    room = read_room(said["ambient"]) if "ambient" in said else None
    return run(read_trace(drawn.text, "run.csv"), (load,), ambient=room, stirred=stirred, **times)


@dataclass(frozen=True, kw_only=True)
class Told:
    """A power told: error in u and in U, U over the power, whether it is one-sided, whether its claim is so."""

    in_u: float
    in_expanded: float
    size: float
    one_sided: bool
    is_so: bool


def told_of(found, drawn):
    useful, off = found.useful, found.power - drawn.full_output
    expanded, open_ = useful.expanded_uncertainty, found.unstated
    return Told(
        in_u=off / useful.standard_uncertainty, in_expanded=off / expanded, size=expanded / found.power,
        one_sided=bool(open_.more or open_.less),
        is_so=(bool(open_.less) or off <= expanded) and (bool(open_.more) or off >= -expanded),
    )  # fmt: skip


def score(kind, runs, seed, fault=None, size=250, generator="heated_loads", says=True):
    """(what was told, why the others were refused and whether near the room) of so many runs of a kind."""
    make, _, _, none, _ = GENERATORS[generator]
    told, refused = [], []
    for first in range(seed, seed + runs, size):
        for drawn in make(kind, fault or none, range(first, min(first + size, seed + runs))):
            found = answer(drawn, drawn.stirred if says else ())
            if found.useful is None:
                refused.append((found.refused[0].what, drawn.is_near))
            else:
                told.append(told_of(found, drawn))
    return told, refused


def main(generator, runs=50, of_faults=20, seed=0):
    _, kinds, faults, _, faulty = GENERATORS[generator]
    print(
        "| kind | runs | refused; near the room | U held, % | mean error, u | sd, u | U, median, % | bounds that hold |"
    )
    print("|---|--:|--:|--:|--:|--:|--:|--:|")
    for kind in kinds:
        told, refused = score(kind, runs, seed, generator=generator)
        known, bounds = ([each for each in told if each.one_sided is side] for side in (False, True))
        in_u, held = np.array([e.in_u for e in known]), 100 * np.mean([abs(e.in_expanded) <= 1 for e in known])
        near = sum(near for _, near in refused)
        print(
            f"| {kind} | {runs} | {len(refused)}; {near} | {held:.1f} | {in_u.mean():+.2f} | {in_u.std():.2f} "
            f"| {100 * np.median([e.size for e in known]):.1f} | {sum(e.is_so for e in bounds)} of {len(bounds)} |",
            flush=True,
        )
    print("\n| probe or heater | kind | runs | told a power | claims that hold | refused |")
    print("|---|---|--:|--:|--:|---|")
    for fault in faults:
        for kind in faulty:
            told, refused = score(kind, of_faults, seed + 100_000, fault, generator=generator, says=False)
            why = ", ".join(f"{what}: {count}" for what, count in Counter(what for what, _ in refused).most_common())
            print(
                f"| {fault} | {kind} | {of_faults} | {len(told)} | {sum(e.is_so for e in told)} | {why} |", flush=True
            )


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:]))
