"""A known load heated for a known time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.procedure.kinds.kind import JUDGED, Kind, Opens, never, not_captured

if TYPE_CHECKING:
    from meterlog.judging import Verdict
    from meterlog.procedure.case import Answer, Case
    from meterlog.procedure.steps import Step


def _conclude(case: Case, step: Step, answer: Answer | None) -> Verdict:
    """The power that the whole run tells; what the capture shows, a temperature, is none."""
    return case.by_run(step, answer) if answer else not_captured(case, step, answer)


HEATING = Kind(
    needed=frozenset({"method"}),
    allowed=JUDGED | {"instrument"},
    quantity="power",
    wants_two_points=never,
    is_dead_only=False,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=False,
    opens=Opens.START,
    on_screen="Stir, and hold the probe in the load for half a minute; then say when it is switched on.",
    on_sheet="note the start, heat, stop, stir, wait for the plateau",
    is_run=True,
    conclude=_conclude,
)
