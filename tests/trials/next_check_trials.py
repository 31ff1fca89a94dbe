"""Which check next, beside the optimum: random models with the exact answer by dynamic programming.

    PYTHONPATH=.:tests/trials python tests/trials/next_check_trials.py [models]

The oracle knows every state (which checks were done and what they came to) of a model of 7 faults and 8 checks and
shares no code with the product: it is arrays and Bayes' rule. The truth of a model is the model itself; the product
sees it through `suggest`. Minutes = measuring + needless renewals (renewal in the order of probability over cost).
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from statistics import mean, quantiles

import numpy as np

from meterlog.diagnosis import Model, ModelledCheck, ModelledFault, SuspectPart, suggest
from meterlog.diagnosis.model import CheckOutcome

FINDINGS = [CheckOutcome.PASS, CheckOutcome.FAIL, CheckOutcome.UNDECIDED]


def random_model(rng: random.Random, faults: int = 7, checks: int = 8) -> Model:
    """A model of invented numbers: sharp ones among them, and shared set-ups that matter."""
    parts = [
        SuspectPart(name=f"part{i}", renew_min=rng.uniform(4, 40), cost_min=rng.choice([30, 60, 120]))
        for i in range(faults - 1)
    ]
    named = [
        ModelledFault(key=f"fault{i}", part=parts[i % len(parts)].name, weight=rng.choice([8, 4, 2, 1, 0.25]))
        for i in range(faults)
    ]
    made = []
    for i in range(checks):
        finds = {f.key: rng.choice([0.93, 0.93, 0.7, 0.3]) for f in rng.sample(named, rng.choice([1, 1, 2, 3]))}
        sound = rng.random() < 0.2
        made.append(
            ModelledCheck(
                key=f"check{i}",
                minutes=rng.choice([0.5, 1, 2, 4, 8, 15]),
                finds=finds,
                set_ups=tuple(rng.sample(["cover", "wires"], rng.choice([0, 1, 1, 2]))),
                false_alarm=0.03,
                undecided=0.85 if sound else rng.choice([0.03, 0.12, 0.45]),
                undecided_when_sound=sound,
            )
        )
    return Model(
        faults=tuple(named),
        parts=tuple(parts),
        checks=tuple(made),
        set_ups={"cover": rng.choice([2, 5, 10]), "wires": rng.choice([1, 4, 12])},
        else_weight=rng.choice([0.5, 1, 2]),
        else_min=rng.choice([40, 90]),
    )


def as_procedure(model: Model) -> str:
    """A model as the text of an invented procedure with one complaint, "cold"; its checks stand in their order."""
    parts = [f"    - {{part: {p.name}, renew: {p.renew_min} min, cost: {p.cost_min} min}}\n" for p in model.parts]
    faults = [
        f"    - {{fault: {f.key}, part: {f.part}, weights: {{cold: {f.weight:g}}}, mark: guess}}\n"
        for f in model.faults
    ]
    checks = []
    for c in model.checks:
        finds = ", ".join(f"{key}: {p}" for key, p in c.finds.items())
        rest = f"set-ups: [{', '.join(c.set_ups)}], finds: {{{finds}}}, undecided: {c.undecided}"
        checks.append(f"    - {{check: {c.key}, takes: {c.minutes} min, {rest}, false alarms: {c.false_alarm}}}\n")
    set_ups = ", ".join(f"{name}: {minutes} min" for name, minutes in model.set_ups.items())
    steps = [_STEP.format(key=c.key) for c in model.checks]
    other = f"  something else: {{weights: {{cold: {model.else_weight}}}, cost: {model.else_min} min}}\n"
    return "".join(
        [_HEAD, *steps, f"diagnosis:\n  complaints: {{cold: stays cold}}\n  set-ups: {{{set_ups}}}\n", "  parts:\n",
         *parts, "  faults:\n", *faults, "  checks:\n", *checks, other]
    )  # fmt: skip


_HEAD = """procedure: invented
title: Invented heater
appliance: heater, invented
source: invented
cautions: [local-rules, isolate]
points:
  outside: {pin a: first pin, pin b: second pin}
steps:
"""
_STEP = """  - step: {key}
    kind: measure
    title: Check {key}
    quantity: resistance
    points: [pin a, pin b]
    limits: [{{is: at most 100 ohm, source: invented, mark: common practice}}]
"""


class Oracle:
    """Every state's probability and least expected minutes; a state is one of four (not done, pass, fail, undecided)
    for each check. Arrays of shape (4,) * checks."""

    def __init__(self, model: Model) -> None:
        self.model = model
        n = len(model.checks)
        self.n = n
        weights = [*(f.weight for f in model.faults), model.else_weight]
        joint = []  # over states, the joint weight of each fault with that state
        for j, fault in enumerate([f.key for f in model.faults] + ["-"]):
            grid = np.array(weights[j] / sum(weights))
            for c in model.checks:
                fail = c.finds.get(fault, c.false_alarm)
                if c.undecided_when_sound:
                    row = [1, (1 - fail) * (1 - c.undecided), fail, (1 - fail) * c.undecided]
                else:
                    row = [1, (1 - c.undecided) * (1 - fail), (1 - c.undecided) * fail, c.undecided]
                grid = np.multiply.outer(grid, np.array(row))
            joint.append(grid)
        self.joint = np.array(joint)
        self.total = self.joint.sum(axis=0)
        self.stop = self._needless()
        self.cost_of = self._minutes()
        self.best = self._solve()

    def _needless(self) -> np.ndarray:
        names = [p.name for p in self.model.parts]
        by_part = np.zeros((len(names) + 1, *self.total.shape))
        for j, f in enumerate(self.model.faults):
            by_part[names.index(f.part)] += self.joint[j]
        by_part[-1] = self.joint[-1]
        minutes = np.array([*(p.renew_min + p.cost_min for p in self.model.parts), self.model.else_min])
        flat = by_part.reshape(len(minutes), -1)
        order = np.argsort(-(flat / np.maximum(minutes, 1e-9)[:, None]), axis=0, kind="stable")
        w = np.take_along_axis(flat, order, axis=0)
        m = minutes[order]
        before = np.cumsum(m, axis=0) - m
        return (w * before).sum(axis=0).reshape(self.total.shape)

    def _minutes(self) -> dict[tuple[int, int], float]:
        """Minutes of check i by the bit set of checks done."""
        table = {}
        for done in range(1 << self.n):
            there = {s for i, c in enumerate(self.model.checks) if done >> i & 1 for s in c.set_ups}
            for i, c in enumerate(self.model.checks):
                if not done >> i & 1:
                    table[done, i] = c.minutes + sum(self.model.set_ups[s] for s in set(c.set_ups) - there)
        return table

    def block(self, done: int) -> tuple:
        """The index that picks all states in which exactly these checks were done."""
        return tuple(slice(1, 4) if done >> i & 1 else 0 for i in range(self.n))

    def _solve(self) -> np.ndarray:
        best = self.stop.copy()
        for done in sorted(range(1 << self.n), key=lambda d: -bin(d).count("1")):
            here = self.block(done)
            value = best[here]
            for i in range(self.n):
                if not done >> i & 1:
                    after = best[self.block(done | 1 << i)]
                    axis = sum(1 for k in range(i) if done >> k & 1)
                    value = np.minimum(value, after.sum(axis=axis) + self.total[here] * self.cost_of[done, i])
            best[here] = value
        return best

    @property
    def optimum(self) -> float:
        return float(self.best[(0,) * self.n])

    def expected(self, policy) -> float:
        """Expected minutes of a policy: a function of {check index: finding} to a check index or None to stop."""

        def walk(state: tuple[int, ...]) -> float:
            known = {i: FINDINGS[s - 1] for i, s in enumerate(state) if s}
            i = policy(known)
            if i is None:
                return float(self.stop[state])
            done = sum(1 << k for k, s in enumerate(state) if s)
            cost = float(self.total[state]) * self.cost_of[done, i]
            for outcome in (1, 2, 3):
                after = (*state[:i], outcome, *state[i + 1 :])
                if self.total[after] > 1e-9:
                    cost += walk(after)
            return cost

        return walk((0,) * self.n)


def product_policy(model: Model, seen: Model | None = None):
    """The product's choice; `seen` is the model that it believes in where that is not the true one."""
    believed_in = seen or model
    keys = [c.key for c in model.checks]

    def choose(known):
        check = suggest(believed_in, {keys[i]: finding for i, finding in known.items()}).check
        return None if check is None else keys.index(check.key)

    return choose


def minutes_ignored(model: Model) -> Model:
    return replace(model, checks=tuple(replace(c, minutes=3.0) for c in model.checks))


def set_ups_ignored(model: Model) -> Model:
    """Each check pays its set-ups by itself."""
    whole = [replace(c, minutes=c.minutes + sum(model.set_ups[s] for s in c.set_ups), set_ups=()) for c in model.checks]
    return replace(model, checks=tuple(whole))


def undecided_as_pass(model: Model):
    inner = product_policy(model)
    return lambda known: inner({i: CheckOutcome.PASS if f is CheckOutcome.UNDECIDED else f for i, f in known.items()})


def procedure_order(model: Model):
    """In order, until one part is at nine in ten."""
    keys = [c.key for c in model.checks]

    def choose(known):
        from meterlog.diagnosis.belief import posterior

        parts = posterior(model, {keys[i]: f for i, f in known.items()}).parts
        if max(parts.values()) >= 0.9:
            return None
        return next((i for i in range(len(keys)) if i not in known), None)

    return choose


def row(oracle: Oracle, policy) -> float:
    return 100.0 * (oracle.expected(policy) / oracle.optimum - 1.0)


POLICIES = {
    "the product": product_policy,
    "minutes ignored": lambda m: product_policy(m, minutes_ignored(m)),
    "shared set-up ignored": lambda m: product_policy(m, set_ups_ignored(m)),
    "undecided read as pass": undecided_as_pass,
    "procedure order, until 9 in 10": procedure_order,
}


def main(models: int) -> None:
    rng = random.Random(20261129)
    gaps: dict[str, list[float]] = {name: [] for name in POLICIES}
    for _ in range(models):
        oracle = Oracle(random_model(rng))
        for name, policy in POLICIES.items():
            gaps[name].append(row(oracle, policy(oracle.model)))
    print(f"{models} random models of 7 faults and 8 checks, per cent above the optimum\n")
    print("| order | mean | p95 | worst |\n|---|--:|--:|--:|")
    for name, values in gaps.items():
        print(f"| {name} | {mean(values):.1f} | {quantiles(values, n=20)[-1]:.1f} | {max(values):.1f} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
