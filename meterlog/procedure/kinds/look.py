"""The person looks, and says what was found: well, or not well and what."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import Kind, Opens, Watched, never

LOOK = Kind(
    name="look",
    needed=frozenset(),
    allowed=frozenset(),
    quantity="",
    wants_two_points=never,
    is_dead_only=False,
    proves_dead=False,
    is_null=False,
    is_left_in_words=True,
    method_finds_limit=False,
    opens=Opens.LOOK,
    watched=Watched.NOTHING,
    on_screen="",
    on_sheet="look, and say done or found wanting",
    may_be_typed=False,
    never_typed="Nothing is measured here: look, and say what you found.",
    is_run=False,
)
