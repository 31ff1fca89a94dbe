"""Scores heating runs with a known truth.

`PYTHONPATH=.:tests/trials python tests/trials/score_heating.py [runs of each kind] [of each fault] [first seed]`

Prints the tables of `tests/trials/heating.md`: how often U holds the power at full output, the mean error in u, what
was refused, by kind of appliance; then what is told of a probe that was out of the load.
"""

from __future__ import annotations

import sys
from collections import Counter

import heated_loads
import numpy as np

from meterlog.heating import Load, read_mass, read_moment, read_room, read_trace, read_vessel, run

NEAR_K = 3.0
"""A load that starts or ends so near to the room's temperature shows no step when the probe leaves or comes back."""


def answer(drawn, **more):
    """What the program tells of a run as it was logged and stated."""
    said = drawn.stated
    load = Load(mass=read_mass(said["mass"]), vessel=read_vessel(said["vessel"]))
    times = {key: read_moment(said[key]) for key in ("start", "stop") if key in said}
    room = read_room(said["ambient"]) if "ambient" in said else None
    return run(read_trace(drawn.text, "run.csv"), (load,), ambient=room, **times, **more)


def errors(told, drawn):
    """(error in u, error in U, U over the power) at full output."""
    useful, off = told.useful, told.power - drawn.full
    return (
        off / useful.standard_uncertainty,
        off / useful.expanded_uncertainty,
        useful.expanded_uncertainty / told.power,
    )


def score(kind, runs, seed, fault="none", size=250):
    """(errors of those told, why the others were refused) of so many runs of a kind."""
    told, refused = [], []
    for first in range(seed, seed + runs, size):
        draws = [heated_loads.draw(k, kind, fault) for k in range(first, min(first + size, seed + runs))]
        for drawn in heated_loads.simulate(draws):
            found = answer(drawn)
            if found.useful is None:
                refused.append((found.refused[0].what, is_near(drawn)))
            else:
                told.append(errors(found, drawn))
    return told, refused


def is_near(drawn):
    """Whether the load started or ended so near to the room that no step could show."""
    p = drawn.physics
    rise = drawn.clock * (p["stop"] - p["start"]) / (4186.0 * p["kg"] + p["wall"])
    return min(abs(p["first"] - p["room"]), abs(p["first"] + rise - p["room"])) < NEAR_K


def main(runs=50, of_faults=20, seed=0):
    print("| kind | runs | refused; near the room | U held, % | mean error, u | sd, u | U, median, % |")
    print("|---|--:|--:|--:|--:|--:|--:|")
    for kind in heated_loads.KINDS:
        told, refused = score(kind, runs, seed)
        in_u, in_expanded, size = np.array(told).T
        held, near = 100 * np.mean(abs(in_expanded) <= 1), sum(near for _, near in refused)
        print(
            f"| {kind} | {runs} | {len(refused)}; {near} | {held:.1f} | {in_u.mean():+.2f} | {in_u.std():.2f} "
            f"| {100 * np.median(size):.1f} |", flush=True,
        )  # fmt: skip
    print("\n| probe of an oven's run | runs | told a power | U held, % | refused |")
    print("|---|--:|--:|--:|---|")
    for fault in heated_loads.FAULTS:
        told, refused = score("oven, stopwatch", of_faults, seed + 100_000, fault)
        held = f"{100 * np.mean([abs(over) <= 1 for _, over, _ in told]):.0f}" if told else ""
        why = ", ".join(f"{what}: {count}" for what, count in Counter(what for what, _ in refused).most_common())
        print(f"| {fault} | {of_faults} | {len(told)} | {held} | {why} |", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
