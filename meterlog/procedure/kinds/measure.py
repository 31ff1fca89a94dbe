"""A settled run between the points."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import JUDGED, PROBED, Kind, Opens, Watched

_TWO_LEADS = frozenset(
    {"resistance", "continuity", "insulation_resistance", "junction_voltage", "capacitance", "inductance"}
)

MEASURE = Kind(
    name="measure",
    needed=frozenset({"quantity"}),
    allowed=PROBED | JUDGED | {"test voltage"},
    quantity="",
    wants_two_points=_TWO_LEADS.__contains__,
    is_dead_only=False,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=True,
    opens=Opens.WATCH,
    watched=Watched.SETTLED,
    on_screen="",
    on_sheet="hold both tips still until the value is taken",
    may_be_typed=True,
    never_typed="",
    is_run=False,
)
