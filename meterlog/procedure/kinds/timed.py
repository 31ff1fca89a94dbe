"""A start and a stop, to a tenth of a second."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import JUDGED, Kind, Opens, Watched, never

TIMED = Kind(
    name="timed",
    needed=frozenset(),
    allowed=JUDGED,
    quantity="time",
    wants_two_points=never,
    is_dead_only=False,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=True,
    opens=Opens.START,
    watched=Watched.SWITCHED,
    on_screen="",
    on_sheet="mark the start and the stop",
    may_be_typed=False,
    never_typed="Say when it starts and when it stops.",
    is_run=False,
)
