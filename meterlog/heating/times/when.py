"""When the load was heated: as stated, or as the mains side shows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import estimate, rectangle
from meterlog.heating.times import cycling
from meterlog.heating.times.heating import Heating
from meterlog.heating.trace.periods import Refused

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.stated import Stated
    from meterlog.heating.times.cycling import Cycling, OnTime
    from meterlog.heating.trace.columns import Trace

BY_HAND_S = 0.3
"""Half width, s, of the time between two presses of a switch (common practice, no source)."""


def on_times(trace: Trace) -> list[OnTime]:
    """When the appliance was energised, by its power, else by its current."""
    series = trace.power or trace.current
    return cycling.on_times(series) if series is not None and len(series) else []


def why_not_stated(trace: Trace, start: Stated | None, stop: Stated | None) -> Refused | None:
    """The reason why stated times are no times of this trace; None when they may be, or none were stated."""
    if start is None and stop is None:
        return None
    if start is None or stop is None:
        there, missing = ("start", "stop") if start else ("stop", "start")
        return _no_times(f"{there} was stated without {missing}", "state both, or neither")
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


def _no_times(why: str, advice: str) -> Refused:
    return Refused(what="stated times", why=why, advice=advice)


def heated_when(trace: Trace, start: Stated | None, stop: Stated | None) -> Heating | None:
    """Start and stop of heating: as stated, else of the mains side; None when neither tells."""
    runs = on_times(trace)
    if start and stop:
        first, last, how = start.value, stop.value, "stated"
    elif runs:
        first, last = runs[0].start, runs[-1].stop
        how = "power log" if trace.power is not None else "current log"
    else:
        return None
    alone = len(runs) == 1 and first <= runs[0].start + 1.0
    return Heating(
        start=first,
        stop=last,
        u_start=_doubt(start) if start else runs[0].half_width / math.sqrt(3.0),
        u_stop=_doubt(stop) if stop else runs[-1].half_width / math.sqrt(3.0),
        how=how,
        warm_up=runs[0].warm_up if alone else 0.0,
    )


def _doubt(moment: Stated) -> float:
    return moment.or_half_width(BY_HAND_S / math.sqrt(2.0)).standard_uncertainty


def heating_time(heating: Heating, runs: list[OnTime], cycles: Cycling | None) -> Estimate:
    """The time, s, that the energy is divided by, with its errors.

    Regular cycling counts whole cycles; a thermostat's pauses and a warm-up seen in the log do not count. Pauses
    too short for the log to time count half a pause at the end, give or take that half.
    """
    seconds, widened, pause = heating.duration - heating.warm_up, 1.0, 0.0
    edges = 0.0
    if cycling.is_thermostat(runs):
        seconds -= cycling.pauses(runs, heating.start, heating.stop)
        edges = runs[0].half_width * math.sqrt(2.0 * (len(runs) - 1.0))
    elif "stated" not in heating.how and len(runs) > 1:
        if cycling.is_blurred(runs):
            pause = cycling.mean_pause(runs)
            seconds = heating.duration + pause / 2.0
        elif cycles:
            seconds = cycles.period_s * cycles.cycles
            widened = cycles.count / (cycles.count - 1.0)
    errors = [
        rectangle("start of heating", widened * heating.u_start * math.sqrt(3.0), heating.how),
        rectangle("stop of heating", widened * heating.u_stop * math.sqrt(3.0), heating.how),
        rectangle("whole cycles", pause / 2.0, heating.how),
        rectangle("a thermostat's pauses", edges, "power or current log"),
    ]
    if heating.warm_up:
        errors.append(rectangle("warm-up time", runs[0].half_width, "power log"))
    return estimate(seconds, *errors)
