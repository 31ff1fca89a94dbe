"""When the load was heated: as stated, or as the mains side shows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.heating.times import cycling
from meterlog.heating.times.heating import Heating
from meterlog.heating.trace.periods import NotFound

if TYPE_CHECKING:
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.times.cycling import OnTime
    from meterlog.heating.trace.columns import HeatingTrace

BY_HAND_S = 0.3
"""Half width, s, of the time between two presses of a switch (common practice, no source)."""


def times_on(trace: HeatingTrace) -> tuple[OnTime, ...]:
    """When the appliance was energised, by its power, else by its current."""
    series = trace.power or trace.current
    return cycling.on_times(series) if series is not None and len(series) else ()


def heated_when(trace: HeatingTrace, start: StatedValue | None, stop: StatedValue | None) -> Heating | NotFound | None:
    """Start and stop of heating: as stated, else of the mains side; None when neither tells.

    Stated times that can't be times of this trace are refused, never set aside.
    """
    on = times_on(trace)
    if start is None and stop is None:
        return _logged(trace, on) if on else None
    if start is None or stop is None:
        there, missing = ("start", "stop") if start else ("stop", "start")
        return _no_times(f"{there} was stated without {missing}", "state both, or neither")
    return _why_not(trace, start, stop) or Heating(
        start=start.value, stop=stop.value, u_start=_doubt(start), u_stop=_doubt(stop), how="stated", on=on
    )


def _logged(trace: HeatingTrace, on: tuple[OnTime, ...]) -> Heating:
    return Heating(
        start=on[0].start,
        stop=on[-1].stop,
        u_start=on[0].half_width / math.sqrt(3.0),
        u_stop=on[-1].half_width / math.sqrt(3.0),
        how="power log" if trace.power is not None else "current log",
        on=on,
    )


def _why_not(trace: HeatingTrace, start: StatedValue, stop: StatedValue) -> NotFound | None:
    if stop.value <= start.value:
        why = f"heating stops at {stop.value:g} s, before it starts at {start.value:g} s"
        return _no_times(why, "check --start and --stop")
    first, last = trace.temperature.times[0], trace.temperature.times[-1]
    for name, moment in (("start", start), ("stop", stop)):
        grace = max(moment.half_width or 0.0, trace.temperature.interval)
        if not first - grace <= moment.value <= last + grace:
            why = (
                f"{name} was stated as {moment.value:g} s, outside the trace, which runs from {first:g} s to {last:g} s"
            )
            return _no_times(why, "state times on the trace's own clock")
    return None


def _no_times(why: str, advice: str) -> NotFound:
    return NotFound(what="stated times", why=why, advice=advice)


def _doubt(moment: StatedValue) -> float:
    return moment.or_half_width(BY_HAND_S / math.sqrt(2.0)).standard_uncertainty
