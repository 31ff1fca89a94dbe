"""Leads shorted: their resistance is the null of what follows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.procedure.kinds.kind import Kind, Opens, by_method, never, not_captured

if TYPE_CHECKING:
    from meterlog.judging import Verdict
    from meterlog.procedure.case import Answer, Case
    from meterlog.procedure.steps import Step


def _conclude(case: Case, step: Step, answer: Answer | None) -> Verdict:
    """The leads as they read: nothing is taken off them."""
    if step.method:
        return by_method(case, step, answer)
    return case.by_value(step, answer, null=None) if answer else not_captured(case, step, answer)


LEADS = Kind(
    needed=frozenset(),
    allowed=frozenset({"limits", "settling", "instrument", "rule", "which counts"}),
    quantity="resistance",
    wants_two_points=never,
    is_dead_only=True,
    proves_dead=False,
    is_null=True,
    is_left_in_words=True,
    method_finds_limit=True,
    opens=Opens.WATCH,
    on_screen="Press the probe tips together and hold them still.",
    on_sheet="press the tips together until the value is taken",
    is_run=False,
    conclude=_conclude,
)
