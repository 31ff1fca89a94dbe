"""When the load was heated: as stated, or as the mains side shows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.heating import cycling
from meterlog.heating.result import Heating
from meterlog.uncertainty import estimate, rectangle

if TYPE_CHECKING:
    from meterlog.heating.cycling import Cycling, OnTime
    from meterlog.heating.stated import Stated
    from meterlog.heating.trace import Trace
    from meterlog.uncertainty import Estimate

BY_HAND_S = 0.3
"""Half width, s, of the time between two presses of a switch (common practice, no source)."""


def on_times(trace: Trace) -> list[OnTime]:
    """When the appliance was energised, by its power, else by its current."""
    series = trace.power or trace.current
    return cycling.on_times(series) if series is not None and len(series) else []


def heated_when(trace: Trace, start: Stated | None, stop: Stated | None) -> Heating | None:
    """Start and stop of heating: each as stated, else of the mains side; None when neither tells."""
    runs = on_times(trace)
    if not runs and (start is None or stop is None):
        return None
    first = start.value if start else runs[0].start
    last = stop.value if stop else runs[-1].stop
    logged = "power log" if trace.power is not None else "current log"
    how = "stated" if start and stop else logged if not (start or stop) else f"stated, {logged}"
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
    if "stated" not in heating.how and len(runs) > 1:
        if cycling.is_blurred(runs):
            pause = cycling.mean_pause(runs)
            seconds = heating.duration + pause / 2.0
        elif cycles:
            seconds = cycles.period_s * cycles.cycles
            widened = cycles.count / (cycles.count - 1.0)
        else:
            seconds = sum(run.stop - run.start for run in runs)
    errors = [
        rectangle("start of heating", widened * heating.u_start * math.sqrt(3.0), heating.how),
        rectangle("stop of heating", widened * heating.u_stop * math.sqrt(3.0), heating.how),
        rectangle("whole cycles", pause / 2.0, heating.how),
    ]
    if heating.warm_up:
        errors.append(rectangle("warm-up time", runs[0].half_width, "power log"))
    return estimate(seconds, *errors)
