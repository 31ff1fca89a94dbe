"""Evaluation: from a settled capture to a verdict with its uncertainty, its rule and its arithmetic.

capture ──measured──▶ Result ──post-processor──▶ Result ──judge──▶ Verdict
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.evaluate.accuracy import Accuracy, parse_accuracy
from meterlog.evaluate.judging import judge, strictest
from meterlog.evaluate.measurement import in_circuit, less_null, measured, null_of
from meterlog.evaluate.result import Context, Result
from meterlog.evaluate.verdict import Outcome, Verdict
from meterlog.procedure.steps import Rule, Step, StepKind
from meterlog.readings import Bound

if TYPE_CHECKING:
    from meterlog.readings import Capture

__all__ = [
    "Accuracy",
    "Context",
    "Outcome",
    "Result",
    "Verdict",
    "judge",
    "judge_capture",
    "measured",
    "null_of",
    "parse_accuracy",
]

NOT_PROVED = "The circuit reads open, but the leads were not proved before and after: the probes may have been off."
LOOSE = "The leads were not proved: one that is off its point reads the same."
PROVE = "Prove it open: leads pressed together, on the points, together again."


def judge_capture(
    step: Step,
    capture: Capture,
    *,
    accuracy: Accuracy | None,
    null: Result | None = None,
    rule: Rule | None = None,
    context: Context | None = None,
) -> Verdict:
    """The verdict on the capture of a step that measures one value.

    Args:
        accuracy: of the instrument at the range that was used; None when it is not known.
        null: the leads, as `measured` (or `null_of`) gives them from a LEADS capture.
        rule: the decision rule; the step's own, else the guard band, where None.
        context: what is known around it; `context.where` chooses among the step's limits.
    """
    context = context or Context()
    reading = measured(capture, accuracy=accuracy, context=context)
    relative = "relative" in capture.form.flags
    result = reading if step.kind is StepKind.LEADS else less_null(reading, null, already_off=relative)
    if context.in_circuit:
        result = in_circuit(result)
    chosen = rule or step.rule or Rule.GUARD
    limit = strictest(step.limits, context.where)
    verdict = judge(_believed(result, capture), limit, chosen, context)
    unproved = verdict.outcome is Outcome.NOT_JUDGED and limit is not None and verdict.why.startswith(NOT_PROVED)
    return replace(verdict, outcome=Outcome.UNDECIDED) if unproved else verdict


def _proved(capture: Capture) -> bool:
    """Whether the leads were proved before and after, or open leads would have looked different."""
    return bool(capture.proof) or capture.how == "open proved" or capture.form.quantity == "capacitance"


def _believed(result: Result, capture: Capture) -> Result:
    """A bound that loose leads would show as well says so, and an open circuit without proof is not taken."""
    if result.bound != "above" or _proved(capture):
        return result
    if capture.form.bound is Bound.OVERLOAD:
        return Result(quantity=result.quantity, reason=NOT_PROVED, trail=result.trail, advice=PROVE)
    return replace(result, doubts=(*result.doubts, LOOSE)) if capture.form.bound is Bound.ABOVE else result
