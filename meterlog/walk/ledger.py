"""What a walk has so far: captures, verdicts and steps passed; which capture counts; what a step waits for.

One rule of what is open to a next step: what it needs has passed, and nothing since has ended that.
A written override passes one step's gate once (`course`): what it was passed without is still missing to
whatever rests on that step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.procedure import gates
from meterlog.procedure.kinds.kind import Opens

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from meterlog.base.readings import Capture
    from meterlog.procedure.steps import Procedure, Step


ANOTHER_CLASS = "of another class"
"""How a check stands that was skipped because the appliance's class, as entered, has no such thing."""


@dataclass(frozen=True, slots=True)
class StepCapture:
    """A capture of a step, with the link it came from and, once judged, the verdict's outcome."""

    source: str
    capture: Capture
    outcome: str = ""


class Ledger:
    """The answers of a walk by step. Measuring again adds; nothing is ever removed.

    Which capture counts is fixed before measuring, by the step: its last (so that measuring again
    after a slip counts) or its first. An answer can lapse: it stays, and no gate rests on it; or be
    void: it stays, and the step is to be answered again. `entries` gives what was entered for the job until now.
    """

    def __init__(self, procedure: Procedure, entries: Callable[[], Mapping[str, str]] = dict) -> None:
        self._procedure, self._entries = procedure, entries
        self._taken: dict[str, list[StepCapture]] = {}
        self._passed: dict[str, str] = {}
        self._lapsed: set[str] = set()
        self._void: set[str] = set()
        self._owed: dict[str, tuple[str, ...]] = {}
        self._ended_by_mains = gates.ended_by_mains(procedure)

    def take(self, step: Step, source: str, capture: Capture) -> None:
        self._taken.setdefault(step.key, []).append(StepCapture(source, capture))
        self._passed.pop(step.key, None)
        self._renew(step.key)
        self._void_computed(step.key)

    def _void_computed(self, key: str) -> None:
        """What was worked out from a step that is measured again is void."""
        for step in self._procedure.steps:
            named = {part.strip() for text in step.inputs.values() for part in text.split(",")}
            if step.kind.opens is Opens.COMPUTED and key in named and self.is_answered(step):
                self._void.add(step.key)
                self._void_computed(step.key)

    def leave(self, step: Step, how: str) -> None:
        """Note that a step was passed without a capture: the last word on it, whatever was captured before."""
        self._passed[step.key] = how
        self._renew(step.key)

    def _renew(self, key: str) -> None:
        self._lapsed.discard(key)
        self._void.discard(key)

    def override(self, step: Step) -> tuple[str, ...]:
        """A step's gate is passed all the same; the keys that were missing."""
        self._owed[step.key] = self.missing(step)
        return self._owed[step.key]

    def restore(
        self,
        taken: Iterable[tuple[str, StepCapture]],
        passed: Mapping[str, str],
        void: Iterable[str] = (),
        overridden: Mapping[str, tuple[str, ...]] | None = None,
    ) -> None:
        """Take up what was answered before a break, by step key. What nobody watched meanwhile has lapsed."""
        for key, each in taken:
            self._taken.setdefault(key, []).append(each)
        self._passed.update(passed)
        self._void.update(void)
        self._owed.update(overridden or {})
        self._end(gates.ended_by_a_break(self._procedure))

    def mains_on(self, keep: Iterable[str] = ()) -> tuple[str, ...]:
        """What was proved dead is no more, nor what was looked at for it, but for `keep`; the keys that lapsed."""
        return self._end(self._ended_by_mains - set(keep))

    def _end(self, keys: frozenset[str]) -> tuple[str, ...]:
        ended = tuple(step.key for step in self._procedure.steps if step.key in keys and self.stands(step))
        self._lapsed.update(ended)
        return ended

    def opened(self, step: Step) -> dict[str, int]:
        """A step is measured inside: what mains rests on is to be done again. Captures so far of what became void."""
        ended = gates.ended_by_opening(self._procedure, step)
        steps = [each for each in self._procedure.steps if each.key in ended and self.is_answered(each)]
        self._void.update(each.key for each in steps)
        return {each.key: len(self.captures(each.key)) for each in steps}

    def judge(self, key: str, outcome: str) -> None:
        """Note the verdict of the step's latest capture, or of a step computed from others."""
        if key in self._taken:
            last = self._taken[key][-1]
            self._taken[key][-1] = StepCapture(last.source, last.capture, outcome)
        else:
            self._passed[key] = outcome
            self._renew(key)

    def counting(self, step: Step) -> StepCapture | None:
        """The capture that counts, by the rule stated in the step."""
        return step.counting(self._taken.get(step.key, []))

    def captures(self, key: str) -> tuple[StepCapture, ...]:
        return tuple(self._taken.get(key, ()))

    def is_answered(self, step: Step) -> bool:
        return step.key not in self._void and (step.key in self._taken or step.key in self._passed)

    def stands(self, step: Step) -> bool:
        """Whether a step's answer is in force: there, and neither lapsed nor void."""
        return self.is_answered(step) and step.key not in self._lapsed

    def has_passed(self, step: Step) -> bool:
        """Whether others may rest on it: passed, or looked at and well; a step that nothing judges, once recorded."""
        if not self.stands(step):
            return False
        counting = self.counting(step)
        if counting is None or step.key in self._passed:
            return self._passed.get(step.key) in ("looked", "pass") or self._is_of_another_class(step)
        return counting.outcome == "pass" or (not step.is_judged and counting.outcome in ("", "not judged"))

    def missing(self, step: Step) -> tuple[str, ...]:
        """Keys of the steps that this one waits for: what has not passed, and what that was passed without."""
        return tuple(dict.fromkeys(key for need in step.needs for key in self._lacking(need)))

    def _lacking(self, key: str) -> tuple[str, ...]:
        if not self.has_passed(self._procedure.step(key)):
            return (key,)
        return tuple(each for owed in self._owed.get(key, ()) for each in self._lacking(owed))

    def first_missing(self, step: Step) -> Step | None:
        """The step to begin with, so that this one's gate opens; None when it is open."""
        missing = self.missing(step)
        if not missing:
            return None
        first = self._procedure.step(missing[0])
        return self.first_missing(first) or first

    def state(self, step: Step) -> str:
        """How a step stands: the counting capture's outcome, how it was passed, "captured", "to do again" or ""."""
        if step.key in self._void:
            return "to do again"
        counting = self.counting(step)
        if counting is None or step.key in self._passed:
            return ANOTHER_CLASS if self._is_of_another_class(step) else self._passed.get(step.key, "")
        return counting.outcome or "captured"

    def _is_of_another_class(self, step: Step) -> bool:
        """Whether it was skipped, in writing, and is not asked of the class that was entered."""
        return self._passed.get(step.key) == "skipped" and gates.is_of_another_class(step, self._entries())

    def has_lapsed(self, step: Step) -> bool:
        """Whether its answer was true once, and no gate rests on it now."""
        return step.key in self._lapsed
