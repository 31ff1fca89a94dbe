"""What a kind of step is: everything that differs between kinds, in one record that each fills whole.

A member that a kind leaves out does not pass the type checker. What watches a link for a step stands in
`meterlog.walk.answers`, since it knows streams of readings; a kind that is missing there does not pass either.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from meterlog.judging import Outcome, Verdict

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.procedure.case import Answer, Case
    from meterlog.procedure.steps import Step

    Conclude = Callable[[Case, Step, Answer | None], Verdict]

PROBED = frozenset({"points", "instrument", "mode", "limits", "hold", "settling", "which counts", "rule"})
"""Keys of a step whose points are touched."""
JUDGED = frozenset({"quantity", "method", "with", "limits", "which counts", "rule"})
"""Keys of a step that is judged."""


class Opens(StrEnum):
    """What a step waits for once its gate is open."""

    LOOK = "look"  # the person looks and says
    WATCH = "watch"  # readings answer it
    START = "start"  # the person says when it starts
    COMPUTED = "computed"  # nothing: it answers itself


def never(_: str) -> bool:
    return False


def always(_: str) -> bool:
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of step.

    Attributes:
        needed, allowed: the keys that it must have and may have, beside those of every step.
        quantity: what it measures where the procedure need not say, "" where it must.
        wants_two_points: whether two points are touched, by the quantity measured.
        is_dead_only: the part must be dead: never in an energised step.
        proves_dead: it shows that the appliance is dead: mains ends it, and it waits for no such proof itself.
        is_null: its value is the leads' own, taken off what follows.
        is_left_in_words: never passed over by Next: only answered, or skipped with the reason.
        method_finds_limit: its method may find the limit that it is judged by.
        opens: what it waits for once its gate is open.
        on_screen: what is asked for before anything is proved or taken, "" where its phase says it.
        on_sheet: how it is done, a few words.
        is_run: its capture is a whole log, which goes on after Stop: no one reading of it is what it found.
        conclude: the verdict on it, from its case and its counting capture.
    """

    needed: frozenset[str]
    allowed: frozenset[str]
    quantity: str
    wants_two_points: Callable[[str], bool]
    is_dead_only: bool
    proves_dead: bool
    is_null: bool
    is_left_in_words: bool
    method_finds_limit: bool
    opens: Opens
    on_screen: str
    on_sheet: str
    is_run: bool
    conclude: Conclude


def not_captured(case: Case, step: Step, answer: Answer | None) -> Verdict:
    """Nothing to conclude from."""
    return Verdict(outcome=Outcome.NOT_JUDGED, why="nothing was captured for this step")


def by_method(case: Case, step: Step, answer: Answer | None) -> Verdict:
    """What the step's method finds, from its capture and others'."""
    return case.by_method(step, answer)


def by_value_or_method(case: Case, step: Step, answer: Answer | None) -> Verdict:
    """The captured value, less the leads; what the method finds where the step has one."""
    if step.method:
        return by_method(case, step, answer)
    return case.by_value(step, answer, null=case.null()) if answer else not_captured(case, step, answer)
