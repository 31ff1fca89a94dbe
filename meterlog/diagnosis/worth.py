"""What measuring is worth: the minutes of needless renewals that it saves, beside the minutes that it takes.

When measuring stops, parts are renewed in the order of probability over cost, highest first; that order has the least
expected cost for renewals that do not change each other. (Cost clusters with inside information, 2010, abstract.)
"""

from __future__ import annotations

from itertools import combinations
from math import log2
from typing import TYPE_CHECKING

from meterlog.diagnosis.belief import part_weights
from meterlog.diagnosis.model import LEAST_MIN, SOMETHING_ELSE, CheckOutcome

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from meterlog.diagnosis.belief import Belief
    from meterlog.diagnosis.model import ModelledCheck

LOOKED_AHEAD = 3
"""Checks in a row that are tried before it is said that more measuring is not worth it."""

IN_THREES = 10
"""How many of the most telling checks are tried in threes: 120 triples, a few milliseconds."""

Weights = tuple[float, ...]


def renewal_order(belief: Belief) -> list[str]:
    """Parts to renew, first things first, without `SOMETHING_ELSE` and what is out of the question."""
    by_part = part_weights(belief.model, belief.weights)
    minutes = {part.name: part.minutes for part in belief.model.parts}
    named = [name for name, weight in by_part.items() if name != SOMETHING_ELSE and weight > 0.0]
    return sorted(named, key=lambda name: -by_part[name] / minutes[name])


class Bench:
    """A belief with the checks that could still be done: what each would tell, take and save.

    `opened` holds the set-ups that are paid for already.
    """

    def __init__(self, belief: Belief, checks: Sequence[ModelledCheck], opened: Collection[str]) -> None:
        self.checks = checks
        self._model = belief.model
        self._opened = frozenset(opened)
        self._weights = belief.weights
        names = [*(part.name for part in self._model.parts), SOMETHING_ELSE]
        self._minutes = [*(part.minutes for part in self._model.parts), max(self._model.else_min, LEAST_MIN)]
        self._part_of = [names.index(fault.part) for fault in self._model.faults] + [len(names) - 1]
        self._total = sum(belief.weights)
        self._kept: dict[str, list[Weights]] = {}

    def minutes(self, checks: Sequence[ModelledCheck]) -> float:
        """What doing these checks takes, each set-up that is not there yet counted once."""
        new = {name for check in checks for name in check.set_ups} - self._opened
        return max(sum(check.minutes for check in checks) + sum(self._model.set_ups[name] for name in new), LEAST_MIN)

    def information(self, check: ModelledCheck) -> float:
        """Bits that a check is expected to tell of the part to renew."""
        told = [self._after(self._weights, likelihood) for likelihood in self._likelihoods(check)]
        return self._entropy(self._weights) - sum(sum(after) / self._total * self._entropy(after) for after in told)

    def per_minute(self, check: ModelledCheck) -> float:
        """Bits a minute, set-ups counted."""
        return self.information(check) / self.minutes((check,))

    @property
    def is_worth_it(self) -> bool:
        """Whether some check, or up to three in a row, saves more expected minutes than it takes."""
        if any(self._saves((check,)) for check in self.checks):
            return True
        if any(self._saves(pair) for pair in combinations(self.checks, 2)):
            return True
        telling = sorted(self.checks, key=self.per_minute, reverse=True)[:IN_THREES]
        return any(self._saves(three) for three in combinations(telling, LOOKED_AHEAD))

    def _saves(self, checks: Sequence[ModelledCheck]) -> bool:
        branches = [self._weights]
        for check in checks:
            branches = [
                self._after(branch, likelihood) for branch in branches for likelihood in self._likelihoods(check)
            ]
        still = sum(self._needless(branch) for branch in branches)
        return (self._needless(self._weights) - still) / self._total > self.minutes(checks)

    def _likelihoods(self, check: ModelledCheck) -> list[Weights]:
        """The likelihoods of each finding by fault."""
        if check.key not in self._kept:
            keys = self._model.fault_keys
            self._kept[check.key] = [tuple(check.likelihood(key, finding) for key in keys) for finding in CheckOutcome]
        return self._kept[check.key]

    @staticmethod
    def _after(weights: Weights, likelihood: Weights) -> Weights:
        return tuple([a * b for a, b in zip(weights, likelihood, strict=True)])

    def _by_part(self, weights: Weights) -> list[float]:
        by_part = [0.0] * len(self._minutes)
        for place, weight in zip(self._part_of, weights, strict=True):
            by_part[place] += weight
        return by_part

    def _needless(self, weights: Weights) -> float:
        """Expected minutes of needless renewals, times the sum of the weights."""
        order = sorted(
            [
                (weight / minutes, weight, minutes)
                for weight, minutes in zip(self._by_part(weights), self._minutes, strict=True)
            ],
            reverse=True,
        )
        before = cost = 0.0
        for _, weight, minutes in order:
            cost += weight * before
            before += minutes
        return cost

    def _entropy(self, weights: Weights) -> float:
        total = sum(weights)
        return -sum(w / total * log2(w / total) for w in self._by_part(weights) if w > 0.0)
