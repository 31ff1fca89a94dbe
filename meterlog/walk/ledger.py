"""What a walk has so far: captures, verdicts and steps passed; which capture counts; what a step waits for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.procedure.steps import StepKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.base.readings import Capture
    from meterlog.procedure.steps import Procedure, Step


@dataclass(frozen=True, slots=True)
class Taken:
    """A capture of a step, with the link it came from and, once judged, the verdict's outcome."""

    source: str
    capture: Capture
    outcome: str = ""


class Ledger:
    """The answers of a walk by step. Measuring again adds; nothing is ever removed.

    Which capture counts is fixed before measuring, by the step: its last (so that measuring again
    after a slip counts) or its first.
    """

    def __init__(self, procedure: Procedure) -> None:
        self._procedure = procedure
        self._taken: dict[str, list[Taken]] = {}
        self._passed: dict[str, str] = {}
        self._dead_since: str = ""

    def take(self, step: Step, source: str, capture: Capture) -> None:
        self._taken.setdefault(step.key, []).append(Taken(source, capture))

    def leave(self, step: Step, how: str) -> None:
        """Note that a step was passed without a capture."""
        self._passed[step.key] = how

    def restore(self, taken: Iterable[tuple[str, Taken]], passed: Mapping[str, str]) -> None:
        """Take up what was answered before a break, by step key. Proofs of dead are not: nobody watched meanwhile."""
        for key, each in taken:
            if self._procedure.step(key).kind is not StepKind.DEAD:
                self._taken.setdefault(key, []).append(each)
        self._passed.update(passed)

    def energise(self) -> None:
        """Mains is on: what was proved dead is no more."""
        self._dead_since = ""

    def judge(self, key: str, outcome: str) -> None:
        """Note the verdict of the step's latest capture, or of a step computed from others."""
        step = self._procedure.step(key)
        if key in self._taken:
            last = self._taken[key][-1]
            self._taken[key][-1] = Taken(last.source, last.capture, outcome)
        else:
            self._passed[key] = outcome
        if step.kind is StepKind.DEAD:
            self._dead_since = key if self.has_passed(step) else ""

    def counting(self, step: Step) -> Taken | None:
        """The capture that counts, by the rule stated in the step."""
        return step.counting(self._taken.get(step.key, []))

    def captures(self, key: str) -> tuple[Taken, ...]:
        return tuple(self._taken.get(key, ()))

    def is_answered(self, step: Step) -> bool:
        return step.key in self._taken or step.key in self._passed

    def has_passed(self, step: Step) -> bool:
        """Whether others may rest on it: passed, or done where there is nothing to judge."""
        counting = self.counting(step)
        if counting is None:
            return self._passed.get(step.key) in ("looked", "pass")
        is_judged = bool(step.limits or step.method)
        return counting.outcome == "pass" or (not is_judged and counting.outcome in ("", "not judged"))

    def missing(self, step: Step) -> tuple[str, ...]:
        """Keys of the steps that this one waits for; "" among them stands for the proof of dead."""
        needs = tuple(key for key in step.needs if not self.has_passed(self._procedure.step(key)))
        return (*needs, "") if step.needs_dead and not self._dead_since else needs

    def state(self, step: Step) -> str:
        """How a step stands: the counting capture's outcome, how it was passed, "captured" or ""."""
        counting = self.counting(step)
        if counting is not None:
            return counting.outcome or "captured"
        return self._passed.get(step.key, "")
