"""The reading at a time after the test began: insulation at one minute."""

from __future__ import annotations

from meterlog.procedure.kinds.kind import JUDGED, PROBED, Kind, Opens, Watched, always

AT_TIME = Kind(
    name="at time",
    needed=frozenset({"quantity", "points", "after"}),
    allowed=PROBED | JUDGED | {"test voltage"},
    quantity="",
    wants_two_points=always,
    is_dead_only=True,
    proves_dead=False,
    is_null=False,
    is_left_in_words=False,
    method_finds_limit=True,
    opens=Opens.WATCH,
    watched=Watched.AT_TIME,
    on_screen="Hold the probes on the points, and press there: the reading counts at its time.",
    on_sheet="start the test and hold until the time is up",
    may_be_typed=True,
    never_typed="",
    is_run=False,
)
