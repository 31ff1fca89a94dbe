"""A known load heated for a known time."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import JUDGED, Kind, Opens, Watched, never

HEATING_RUN = Kind(
    name="heating run",
    needed=frozenset({"method"}),
    allowed=JUDGED | {"instrument"},
    quantity="power",
    wants_two_points=never,
    is_dead_only=False,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=False,
    opens=Opens.STIR,
    watched=Watched.LOGGED,
    on_screen="Hold it there for half a minute. Then say when it is switched on.",
    on_sheet="note the start, heat, stop, stir, wait for the plateau",
    may_be_typed=False,
    never_typed="A heating run is read from its whole trace, not from one value.",
    is_run=True,
)
