"""An open circuit, between two shorts of the leads: what should not conduct does not."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import JUDGED, PROBED, Kind, Opens, Watched, always

OPEN = Kind(
    name="open",
    needed=frozenset({"quantity", "points"}),
    allowed=PROBED | JUDGED | {"test voltage"},
    quantity="",
    wants_two_points=always,
    is_dead_only=True,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=True,
    opens=Opens.WATCH,
    watched=Watched.OPEN,
    on_screen="Press the tips together until the tone; then the points; then the tips together again.",
    on_sheet="tips together, the points, tips together again",
    may_be_typed=True,
    never_typed="An open circuit is proved with a meter that is heard: tips together, the points, tips together again. "
    "Only a number that was read there can be typed.",
    is_run=False,
)
