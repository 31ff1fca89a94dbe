"""Leads shorted: their resistance is the null of what follows."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import Kind, Opens, Watched, never

LEADS = Kind(
    name="leads",
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
    watched=Watched.SHORTED,
    on_screen="Press the probe tips together and hold them still.",
    on_sheet="press the tips together until the value is taken",
    may_be_typed=False,
    never_typed="The leads are those of the meter that is heard: nothing typed is taken off its readings.",
    is_run=False,
)
