"""A dead circuit, between two readings of a known source: the points are not live."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import PROBED, Kind, Opens, Watched, always

DEAD = Kind(
    name="dead",
    needed=frozenset({"points", "limits", "known source"}),
    allowed=PROBED,
    quantity="voltage",
    wants_two_points=always,
    is_dead_only=True,
    proves_dead=True,
    is_null=False,
    is_left_in_words=True,
    method_finds_limit=True,
    opens=Opens.WATCH,
    watched=Watched.DEAD,
    on_screen="Hold the tips on the known source until the tone; then the points; then the source again.",
    on_sheet="known source, the points, the known source again",
    may_be_typed=False,
    never_typed="A dead circuit is proved with a meter that is heard: the known source, the points, the source again. "
    "Nothing typed proves it.",
    is_run=False,
)
