"""The faults of an appliance for one complaint, what each check finds of them, and what everything costs in minutes.

Every weight, likelihood and minute is a procedure's author's: a guess or common practice, never a fact about a make.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

SOMETHING_ELSE = "something else"
"""The fault that every model has: none of those named."""

LEAST_MIN = 0.01
"""What is stated to take no time counts so many minutes, so that a rate by the minute has a meaning."""


class CheckOutcome(StrEnum):
    """What a check came to, as evidence."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class SuspectPart:
    """A part that may have to be renewed: `renew_min` at the bench, `cost_min` its price and waiting, in minutes."""

    name: str
    renew_min: float
    cost_min: float = 0.0

    @property
    def minutes(self) -> float:
        """What renewing it for nothing costs, in minutes."""
        return max(self.renew_min + self.cost_min, LEAST_MIN)


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelledFault:
    """One way in which a part fails; `weight` is relative, > 0, for the complaint that the model is of."""

    key: str
    part: str
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelledCheck:
    """One check as evidence.

    Attributes:
        minutes: what measuring takes by itself, min, >= 0.
        set_ups: names of what must be arranged first (cover off, wires off); each is paid for once.
        tier: 0 unplugged and closed, 1 open and proved dead, 2 energised and closed.
        finds: probability of a fail by fault, 0 < p < 1; a fault that is not named is not found.
        false_alarm: probability of a fail where nothing that it finds is wrong.
        undecided: probability that it comes to no decision.
        undecided_when_sound: whether no decision is what a sound part gives, so that it is evidence at all.
        group: checks of one group use the same leads and method: only the strongest of them counts.
    """

    key: str
    minutes: float
    finds: Mapping[str, float]
    set_ups: tuple[str, ...] = ()
    tier: int = 0
    false_alarm: float = 0.03
    undecided: float = 0.03
    undecided_when_sound: bool = False
    group: str = ""

    def likelihood(self, fault: str, finding: CheckOutcome) -> float:
        """The probability of a finding when that fault is there."""
        fails = self.finds.get(fault, self.false_alarm)
        if self.undecided_when_sound:
            rest = 1.0 - fails
            by = {CheckOutcome.UNDECIDED: rest * self.undecided, CheckOutcome.PASS: rest * (1.0 - self.undecided)}
            return by.get(finding, fails)
        if finding is CheckOutcome.UNDECIDED:
            return self.undecided
        return (1.0 - self.undecided) * (fails if finding is CheckOutcome.FAIL else 1.0 - fails)


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Faults, parts, set-ups (minutes by name) and checks in the procedure's order, for one complaint.

    `else_weight` is the weight of `SOMETHING_ELSE`; `else_min` what it costs to find that nothing named was it.
    """

    faults: tuple[ModelledFault, ...]
    parts: tuple[SuspectPart, ...]
    checks: tuple[ModelledCheck, ...]
    set_ups: Mapping[str, float] = field(default_factory=dict)
    else_weight: float = 1.0
    else_min: float = 60.0

    @property
    def fault_keys(self) -> tuple[str, ...]:
        """Every fault's key, `SOMETHING_ELSE` last."""
        return (*(fault.key for fault in self.faults), SOMETHING_ELSE)

    def check(self, key: str) -> ModelledCheck:
        """The check of that key. Raises: KeyError."""
        for check in self.checks:
            if check.key == key:
                return check
        raise KeyError(key)
