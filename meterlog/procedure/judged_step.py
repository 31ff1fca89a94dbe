"""The verdict on one step: on its capture's own value, or on what its method finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.judging import Context, Result, Rule, judge, measured
from meterlog.judging.measurement import believed, in_circuit, less_leads
from meterlog.judging.postprocess import AtHand, post_process

if TYPE_CHECKING:
    from meterlog.base.readings import Capture
    from meterlog.judging import Accuracy, Verdict
    from meterlog.procedure.steps import Step


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
    result = reading if step.kind.is_null else less_leads(reading, capture, null)
    if context.in_circuit:
        result = in_circuit(result)
    chosen = rule or step.rule or Rule.GUARD
    return judge(believed(result, capture), step.limit_for(context.where), chosen, context)


def judge_step(step: Step, at_hand: AtHand, *, rule: Rule | None = None, context: Context | None = None) -> Verdict:
    """The verdict on a step that has a method: by its own limit; by the method's where it lists none or says so.

    What cannot be worked out (an input missing or unreadable) is not judged, and said.
    """
    context = context or Context()
    chosen = rule or step.rule or Rule.GUARD
    limit = step.limit_for(context.where)
    inputs = {**step.inputs, "rule": limit.by} if limit is not None and limit.by else step.inputs
    try:
        result = post_process(step.method, inputs, at_hand, own=step.key)
    except WrongValue as error:
        return judge(Result(quantity=step.quantity or "ratio", reason=f"{error}."), None, chosen, context)
    if not step.limits or (limit is not None and limit.by_method):
        limit = result.limit
    return judge(result, limit, chosen, context)
