"""Evaluation: from a settled capture to a verdict with its uncertainty, its rule and its arithmetic.

capture ──measured──▶ Result ──post-processor──▶ Result ──judge──▶ Verdict
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.judging.accuracy import Accuracy, parse_accuracy
from meterlog.judging.measurement import believed, in_circuit, less_null, measured, null_of
from meterlog.judging.result import Context, Result
from meterlog.judging.rule import judge
from meterlog.judging.verdict import Outcome, Verdict
from meterlog.procedure.steps import Rule, Step, StepKind

if TYPE_CHECKING:
    from meterlog.base.readings import Capture

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
    return judge(believed(result, capture), step.limit_for(context.where), chosen, context)
