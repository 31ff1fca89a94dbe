"""Worked out from the captures of other steps, no probes."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import JUDGED, Kind, Opens, Watched, never

DERIVED = Kind(
    name="derived",
    needed=frozenset({"quantity", "method", "with"}),
    allowed=JUDGED,
    quantity="",
    wants_two_points=never,
    is_dead_only=False,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=True,
    opens=Opens.COMPUTED,
    watched=Watched.NOTHING,
    on_screen="",
    on_sheet="nothing to do: worked out from other steps",
    may_be_typed=False,
    never_typed="It is worked out from other checks.",
    is_run=False,
)
