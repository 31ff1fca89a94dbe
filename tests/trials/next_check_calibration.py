"""How often the part that is shown as likeliest was to blame, in a world that differs from the model.

    PYTHONPATH=.:tests/trials python tests/trials/next_check_calibration.py [jobs]

An invented appliance of 17 named faults and 18 checks. In the wrong world every weight is off by up to a factor of
three, checks find 0.9 times as often, fail falsely and stay undecided twice as often, and on 15 % of days (dirty
probes) fail falsely six times as often. None of this is known to the product.
"""

from __future__ import annotations

import random
import sys
from dataclasses import dataclass, replace

from meterlog.diagnosis import Model, ModelledCheck, ModelledFault, SuspectPart, suggest
from meterlog.diagnosis.model import SOMETHING_ELSE, CheckOutcome
from meterlog.diagnosis.sentences import shown_parts

BANDS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.01)


def appliance(rng: random.Random) -> Model:
    """Invented: ten parts, some with two ways to fail; a check or two for each; two set-ups."""
    parts = [SuspectPart(name=f"part{i}", renew_min=rng.uniform(4, 40), cost_min=60) for i in range(10)]
    faults = [
        ModelledFault(key=f"fault{i}", part=parts[i % 10].name, weight=rng.choice([8, 4, 4, 2, 2, 1, 1, 0.25]))
        for i in range(17)
    ]
    checks = []
    for i in range(18):
        own = rng.sample(faults, rng.choice([1, 1, 2]))
        sound = i in (4, 11)
        checks.append(
            ModelledCheck(
                key=f"check{i}",
                minutes=rng.choice([0.5, 1, 2, 4, 8]),
                finds={f.key: rng.choice([0.93, 0.93, 0.7, 0.3]) for f in (faults[i % 17], *own)},
                set_ups=tuple(rng.sample(["cover", "wires"], rng.choice([0, 1, 1, 2]))),
                undecided=0.85 if sound else rng.choice([0.03, 0.12]),
                undecided_when_sound=sound,
            )
        )
    return Model(
        faults=tuple(faults),
        parts=tuple(parts),
        checks=tuple(checks),
        set_ups={"cover": 5.0, "wires": 3.0},
        else_weight=4.0,
    )


def wrong_world(model: Model, rng: random.Random) -> Model:
    """What is true, where the model is what its author believed."""
    checks = [
        replace(
            check,
            finds={fault: 0.9 * p for fault, p in check.finds.items()},
            false_alarm=2 * check.false_alarm,
            undecided=check.undecided if check.undecided_when_sound else 2 * check.undecided,
        )
        for check in model.checks
    ]
    faults = [replace(fault, weight=fault.weight * 3 ** rng.uniform(-1, 1)) for fault in model.faults]
    return replace(model, faults=tuple(faults), checks=tuple(checks))


@dataclass(frozen=True)
class Job:
    said: float
    was: bool
    minutes: float


def job(model: Model, world: Model, rng: random.Random) -> Job | None:
    """One repair until measuring stops; None where the likeliest is something else."""
    fault = rng.choices(
        [*(f.key for f in world.faults), SOMETHING_ELSE], [*(f.weight for f in world.faults), world.else_weight]
    )[0]
    bad_day = rng.random() < 0.15
    findings: dict[str, CheckOutcome] = {}
    minutes = 0.0
    while True:
        suggestion = suggest(model, findings)
        if suggestion.check is None:
            break
        minutes += suggestion.minutes
        true = world.check(suggestion.check.key)
        if bad_day:
            true = replace(true, false_alarm=min(0.5, 3 * true.false_alarm))
        chances = [true.likelihood(fault, finding) for finding in CheckOutcome]
        findings[true.key] = rng.choices(list(CheckOutcome), chances)[0]
    part, said = shown_parts(suggestion)[0]
    if part == SOMETHING_ELSE:
        return None
    was = fault != SOMETHING_ELSE and next(f.part for f in model.faults if f.key == fault) == part
    return Job(said, was, minutes)


def jobs(count: int, seed: int, *, wrong: bool) -> list[Job]:
    rng = random.Random(seed)
    done = []
    while len(done) < count:
        model = appliance(rng)
        for _ in range(25):
            world = wrong_world(model, rng) if wrong else model
            one = job(model, world, rng)
            if one is not None:
                done.append(one)
    return done[:count]


def calibration_error(done: list[Job]) -> float:
    """Expected calibration error over ten bands of equal width."""
    total = 0.0
    for k in range(10):
        band = [j for j in done if k / 10 <= j.said < (k + 1) / 10]
        if band:
            total += abs(sum(j.said for j in band) - sum(j.was for j in band))
    return total / len(done)


def main(count: int) -> None:
    print(
        "| world | said | was | calibration error | minutes a job | said / was from 0.8 up |\n|---|--:|--:|--:|--:|--:|"
    )
    for name, wrong in (("as the model", False), ("wrong", True)):
        done = jobs(count, 20261129, wrong=wrong)
        said, was = (sum(x) / len(done) for x in ([j.said for j in done], [j.was for j in done]))
        high = [j for j in done if j.said >= 0.8]
        top = f"{sum(j.said for j in high) / len(high):.3f} / {sum(j.was for j in high) / len(high):.3f}"
        minutes = sum(j.minutes for j in done) / len(done)
        print(f"| {name} | {said:.3f} | {was:.3f} | {calibration_error(done):.3f} | {minutes:.1f} | {top} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
