"""A job's case: what its verdicts rest on, and the one function that concludes a step from it.

Live, replay and audit all conclude here, so a verdict can be reached again from what was kept:
the captures that counted, the entries from plate and person, the accuracy and facts of each
instrument, the procedure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.evaluate import Context, Outcome, Verdict, judge_capture, measured
from meterlog.heating.step import heated
from meterlog.procedure.steps import StepKind

if TYPE_CHECKING:
    from meterlog.evaluate import Accuracy, Result
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.readings import Capture, Reading


Log = Callable[[], "tuple[tuple[float, Reading], ...]"]
"""Gives all (time in s, reading) of a capture's run, when asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known of an instrument on the bench besides its profile.

    Attributes:
        calibrated_age_s: time between its last calibration and the capture, s; None when not known.
        ambient_k: temperature at which it is used, K; None for within its stated span.
        open_circuit_voltage: V that its resistance function shows at most; None when not known.
    """

    calibrated_age_s: float | None = None
    ambient_k: float | None = None
    open_circuit_voltage: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A capture with the instrument that it came from; `log` gives all (time, reading) of its run."""

    capture: Capture
    accuracy: Accuracy | None = None
    facts: Facts = field(default_factory=Facts)
    log: Log = tuple


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What is known of a job at one moment.

    Attributes:
        where: the jurisdiction whose limits were chosen.
        entries: from the rating plate and the person, each with its unit: {"rated output": "900 W"}.
        answers: by step key, the capture that counts.
    """

    procedure: Procedure
    where: str = ""
    entries: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, Answer] = field(default_factory=dict)

    def null(self) -> Result | None:
        """The leads' resistance, from the last of the procedure's lead checks that was answered."""
        for step in reversed(self.procedure.steps):
            if step.kind is StepKind.LEADS and step.key in self.answers:
                answer = self.answers[step.key]
                return measured(answer.capture, accuracy=answer.accuracy, context=_context(self, step, answer))
        return None


def conclude(case: Case, step: Step) -> Verdict:
    """The verdict on a step of a case, from its counting capture and, where it is derived, from others'."""
    answer = case.answers.get(step.key)
    if answer is None:
        return Verdict(outcome=Outcome.NOT_JUDGED, why="nothing was captured for this step")
    if step.kind is StepKind.HEATING:
        return heated(case, step, answer)
    null = None if step.kind is StepKind.LEADS else case.null()
    context = _context(case, step, answer)
    rule = step.rule or case.procedure.rule
    return judge_capture(step, answer.capture, accuracy=answer.accuracy, null=null, rule=rule, context=context)


def _context(case: Case, step: Step, answer: Answer) -> Context:
    return Context(
        ambient_k=answer.facts.ambient_k,
        calibration_age_s=answer.facts.calibrated_age_s,
        where=case.where,
    )
