"""Trials: whole simulated jobs through the walk, and what became of every measurement.

    PYTHONPATH=.:tests:tests/trials python tests/trials/bench_trials.py [jobs for each rate]

prints a table. "right": one capture within the contact, its value within 0.4 % and the noise; "wrong":
within the contact, another value; "missed": none; "false": captures outside the contact of their step.
"""

from __future__ import annotations

import math
import random
import sys
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from bench_streams import IDLE, OPEN, STRAY_FARAD, Meter, Piece, Truth

from meterlog.procedure import kinds
from meterlog.procedure.steps import Procedure, Settling, Step
from meterlog.walk import REPLAY, Act, Walk
from meterlog.walk.happenings import Advised, Captured
from meterlog.walk.settle import BOUND_HELD_S, criterion_for

if TYPE_CHECKING:
    from collections.abc import Callable

RATES = (1.0, 2.0, 3.0, 5.0, 10.0)
SLIP, FINGERS, HOLDS, WRONG_FUNCTION, BLIP = 0.2, 0.12, 0.08, 0.15, 0.1
AS_ASKED = ("if that is where they are", "to tell by one press")
"""Words that ask for another press of whoever stays where the tips are."""
SHORTEST, LONGEST = 0.88, 1.2  # of a comfortable contact
AIR = {"capacitance": STRAY_FARAD, "voltage": 0.004, "insulation_resistance": IDLE}
VALUES = {
    "resistance": (0.3, 5e6), "junction_voltage": (0.2, 0.9), "capacitance": (5e-9, 1e-4), "voltage": (1.2, 300.0),
    "insulation_resistance": (3e5, 1.5e9),
}  # fmt: skip


class Job:
    """A procedure, the script of someone working through it, and what ought to be captured."""

    def __init__(self, rng: random.Random, meter: Meter, count: int = 6) -> None:
        self.rng, self.meter = rng, meter
        self.steps: list[Step] = []
        self.script: list[Piece] = []
        self.truth: list[Truth] = []
        self.presses: list[float] = []
        self.at, self.dial = 0.0, "resistance"
        self.add(2.0)
        for number in range(count):
            kind = rng.choices(
                ("resistance", "junction_voltage", "capacitance", "voltage", "insulation_resistance", "open", "dead",
                 "bound", "leak", "creep"), (36, 10, 14, 8, 8, 12, 5, 3, 4, 4))[0]  # fmt: skip
            self.measure(f"s{number}", kind)
        self.add(4.0)

    def add(self, seconds: float, value: float | str | None = "air", **more: object) -> None:
        level = AIR.get(self.dial, OPEN) if value == "air" else value
        self.script.append(Piece(seconds, level, **more))  # type: ignore[arg-type]
        self.at += seconds

    def on_points(self, seconds: float, value: float | str | None = "air") -> None:
        """Tips on points that read as the air does: touch, press, stay for so long."""
        self.add(self.rng.uniform(0.8, 1.5), value)
        self.presses.append(self.at)
        self.add(seconds, value)

    def hurried(self, comfortable: float) -> float:
        return comfortable * self.rng.uniform(SHORTEST, LONGEST)

    @property
    def hunting(self) -> float:
        """Time a meter needs to find its range, with a reading or two to see it, s."""
        rate = self.meter.rate
        return (math.ceil(5 / max(1, round(3 / rate))) + 2.5) / rate

    def turn(self, quantity: str) -> None:
        """Turn the dial, now and then only after a contact on the wrong function."""
        if quantity == self.dial:
            return
        if self.rng.random() < WRONG_FUNCTION:
            self.add(self.rng.uniform(2, 4), 47.0 if self.dial != "voltage" else 0.001, bounce=0.2)
            self.add(1.0)
        self.dial = quantity
        self.add(self.rng.uniform(1.5, 3.0) + self.hunting, quantity=quantity)

    def measure(self, key: str, kind: str) -> None:
        quantity, do = self.kinds.get(kind, (kind, lambda key: self.contact(key, kind)))
        self.turn(quantity)
        if self.rng.random() < FINGERS and quantity in ("resistance", "junction_voltage"):
            level, wander = 1.2e6 if quantity == "resistance" else 1.5, self.rng.uniform(0.01, 0.06)
            self.add(self.rng.uniform(1.5, 4), level, wander=wander, bounce=0.2)
            self.add(self.rng.uniform(1.0, 2.0))
        do(key)
        self.add(self.rng.uniform(1.5, 4.0))

    @property
    def kinds(self) -> dict[str, tuple[str, Callable[[str], None]]]:
        """Measurements that are more than a contact: on what the dial stands, and what is done."""
        return {
            "creep": ("resistance", self.creep),
            "open": ("resistance", self.prove_open),
            "leak": ("resistance", self.leak),
            "dead": ("voltage", self.prove_dead),
            "bound": ("insulation_resistance", self.bound),
        }

    def contact(self, key: str, quantity: str) -> None:
        low, high = VALUES[quantity]
        value = low * (high / low) ** self.rng.random()
        own = criterion_for(quantity)
        self.steps.append(Step(key=key, title=key, kind=kinds.MEASURE, quantity=quantity))
        comfortable = max(own.length_s, 4.2 / self.meter.rate) + 1.2 + self.hunting
        began, tau = self.at, 0.0
        if quantity == "capacitance":
            tau = self.rng.choice((0.0, 0.4, 0.8, 2.0))
            comfortable += 1.0 + 5.5 * tau
        elif quantity == "insulation_resistance":
            tau = self.rng.choice((0.3, 1.0, 2.0))
            comfortable += 1.0 + 4.8 * tau
        elif quantity == "resistance" and self.rng.random() < 0.15:
            tau, comfortable = 0.6, comfortable + 3.3
        if self.rng.random() < SLIP and quantity in ("resistance", "junction_voltage", "voltage"):
            self.add(self.rng.uniform(1.0, 2.0), value * self.rng.uniform(0.3, 0.9), bounce=0.2)
        if self.rng.random() < BLIP and quantity == "resistance":
            self.add(self.rng.uniform(0.5, 1.5), value, bounce=0.2)
            self.add(0.2)
        seconds = self.hurried(comfortable)
        beat = 0.0008 if quantity == "voltage" and self.rng.random() < 0.3 else 0.0
        self.add(seconds, value, tau=tau, bounce=0.25, beat=beat, key=key)
        self.truth.append(Truth(key, began, self.at, value, 0.005 if tau or beat else 0.003))
        if self.rng.random() < HOLDS:
            self.add(1.0, value, hold=True)
            self.add(self.rng.uniform(3, 5), hold=True)
            self.add(self.rng.uniform(1.0, 2.0), value * 1.5, hold=True)

    def creep(self, key: str) -> None:
        """A thermistor that warms in the hand, with a settling of its own."""
        value, tau = self.rng.uniform(800, 5e4), self.rng.uniform(2.0, 5.0)
        own = Settling(length_s=3.0)
        self.steps.append(Step(key=key, title=key, kind=kinds.MEASURE, quantity="resistance", settling=own))
        began, comfortable = self.at, 3.0 + self.hunting + 1.0 + 2.6 * tau
        self.add(self.hurried(comfortable), value, tau=tau, creep=self.rng.choice((-0.03, 0.03)), bounce=0.2)
        self.truth.append(Truth(key, began, self.at, value, 0.004))

    def prove_open(self, key: str) -> None:
        hold = 3.0
        self.steps.append(Step(key=key, title=key, kind=kinds.OPEN, quantity="resistance", hold_s=hold))
        began = self.at
        self.add(self.hurried(1.2 + self.hunting), 0.2, bounce=0.2)
        self.add(self.hunting)
        self.on_points(hold + 1.1 / self.meter.rate + self.twice + self.rng.uniform(0.3, 0.6))
        self.add(self.hurried(1.2 + self.hunting), 0.2, bounce=0.2)
        self.truth.append(Truth(key, began, self.at, None, 0.0))

    def stays(self, seconds: float) -> float:
        """How long someone stays who waits for a tone that comes so long after a press, s."""
        return max(seconds, 4.2 / self.meter.rate) + 1.5 / self.meter.rate + self.twice + self.rng.uniform(0.3, 1.2)

    @property
    def twice(self) -> float:
        """What a second press costs, which is asked for where a meter shows too seldom, s."""
        return 0.4 + 2 / self.meter.rate if self.meter.rate < 2.5 else 0.0

    def leak(self, key: str) -> None:
        self.steps.append(Step(key=key, title=key, kind=kinds.OPEN, quantity="resistance", hold_s=3.0))
        began, value = self.at, self.rng.uniform(2e4, 8e6)
        self.add(self.hurried(1.2 + self.hunting), 0.2, bounce=0.2)
        self.add(1.2)
        self.add(self.hurried(max(3.0, 4.2 / self.meter.rate) + 1.2 + self.hunting), value, bounce=0.2)
        self.truth.append(Truth(key, began, self.at, value, 0.003))

    def prove_dead(self, key: str) -> None:
        self.steps.append(Step(key=key, title=key, kind=kinds.DEAD, quantity="voltage", mode="dc", source_voltage=9.0))
        began, source = self.at, self.hurried(1.7 + self.hunting)
        self.add(source, 9.12, bounce=0.2)
        self.add(1.0 + self.hunting)
        self.on_points(self.stays(3.0), 0.0)
        self.add(1.0)
        self.add(self.hurried(1.7 + self.hunting), 9.12, bounce=0.2)
        self.truth.append(Truth(key, began, self.at, 0.0, 0.02))

    def bound(self, key: str) -> None:
        self.steps.append(Step(key=key, title=key, kind=kinds.MEASURE, quantity="insulation_resistance"))
        began = self.at
        self.on_points(self.hurried(BOUND_HELD_S + 1.5 + 1 / self.meter.rate), 8e9)
        self.truth.append(Truth(key, began, self.at, None, 0.0))


def outcomes(job: Job, *, known: bool, settling: Settling | None = None) -> Counter[str]:
    """What became of each measurement; `known`: the step is set for each contact, else they advance in order."""
    steps = tuple(replace(step, settling=_merged(step.settling, settling)) for step in job.steps)
    walk = Walk(Procedure(key="p", title="p", appliance="a", source="s", cautions=(), steps=steps), assume=REPLAY)
    told, turn = walk.start(0.0), 0
    presses = [*job.presses]
    for ordinal, (at, reading) in enumerate(job.meter.watch(job.script, job.rng, "resistance")):
        while presses and presses[0] <= at:
            told += walk.act(Act(word="confirm"), presses.pop(0))
        while known and turn + 1 < len(job.truth) and at > job.truth[turn].ended + 0.5:
            turn += 1
            if walk.step is None or walk.step.key != job.truth[turn].key:
                told += walk.act(Act(word="go to", to=job.truth[turn].key), at)
        new = walk.reading("meter", ordinal, reading, at)
        if any(isinstance(each, Advised) and each.why.endswith(AS_ASKED) for each in new):
            presses.insert(0, at + 0.4)  # as asked
        told += new
    captures = [happening for happening in told if isinstance(happening, Captured)]
    return score(job, captures)


def _merged(own: Settling, other: Settling | None) -> Settling:
    """A step's own settling, with what a trial changes where the step says nothing."""
    stated = {name: getattr(own, name) for name in own.__slots__ if getattr(own, name) is not None}
    tried = {name: getattr(other, name) for name in own.__slots__ if other and getattr(other, name) is not None}
    return Settling(**{**tried, **stated})


def score(job: Job, captures: list[Captured]) -> Counter[str]:
    counts: Counter[str] = Counter(measurements=len(job.truth))
    for truth in job.truth:
        mine = [c.capture for c in captures if c.step == truth.key]
        inside = [c for c in mine if truth.began - 0.3 <= c.started and c.ended <= truth.ended + 0.3]
        counts["false"] += len(mine) - len(inside)
        if not inside:
            counts["missed"] += 1
            continue
        counts["right" if all(_is_right(capture, truth, job.meter.noise) for capture in inside) else "wrong"] += 1
    return counts


def _is_right(capture, truth: Truth, noise: int) -> bool:
    value = capture.reading.value
    if truth.value is None or value is None:
        return truth.value is None and value is None
    return abs(value - truth.value) <= truth.tolerance * abs(truth.value) + (noise + 1) * capture.form.resolution


def meter_of(rng: random.Random, rate: float) -> Meter:
    return Meter(rate=rate, noise=rng.choice((1, 3)), blanks=rng.random() < 0.3, drop=rng.choice((0.0, 0.01, 0.03)))


def trial(jobs: int, *, known: bool, settling: Settling | None = None, rates=RATES, seed: int = 7) -> Counter[str]:
    """All measurements of so many jobs at each rate."""
    total: Counter[str] = Counter()
    for rate in rates:
        for number in range(jobs):
            rng = random.Random(f"{seed} {rate} {number}")
            total += outcomes(Job(rng, meter_of(rng, rate)), known=known, settling=settling)
    return total


RULES = {
    "the table": None,
    "T = 0.7 s": Settling(length_s=0.7),
    "T = 1.4 s": Settling(length_s=1.4),
    "T = 2.0 s": Settling(length_s=2.0),
    "T = 3.2 s": Settling(length_s=3.2),
    "A = 3": Settling(spread_counts=3),
    "A = 12": Settling(spread_counts=12),
    "B = 3 %": Settling(spread_part=0.03),
    "A = 8": Settling(spread_counts=8),
    "C = 1": Settling(slope_counts=1),
    "C = 5": Settling(slope_counts=5),
    "D = 1 %": Settling(slope_part=0.01),
    "B = 2 %, no slope": Settling(spread_part=0.02, slope_counts=1e9),
    "no slope test": Settling(slope_counts=1e9),
}


def main() -> None:
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print(f"{'':18}{'in order':^36}{'known':^36}")
    print(f"{'rule':18}" + 2 * f"{'right':>9}{'wrong':>9}{'missed':>9}{'false':>9}" + "   per cent")
    for name, settling in RULES.items():
        cells = []
        for known in (False, True):
            total = trial(jobs, known=known, settling=settling)
            cells += [100 * total[word] / total["measurements"] for word in ("right", "wrong", "missed", "false")]
        print(f"{name:18}" + "".join(f"{cell:9.1f}" for cell in cells), flush=True)


if __name__ == "__main__":
    main()
