"""When a load was heated, and for how long of that at full output."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import estimate, rectangle

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Error, Estimate
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.times.cycling import OnTime

USUAL_S, USUAL_HALF_S = 2.0, 1.0
"""Warm-up of a microwave oven's generator, s, that nobody saw or stated, and its half width."""
USUAL_SOURCE = "1 to 3 s of filament heating: service manuals and common practice"
FINE_S = 1.0
"""A mains-side log with readings so close shows the step from warm-up to full power."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A stretch, s, in which the load was not heated, seen in the trace; u, s, of its length."""

    first: float
    last: float
    u: float

    @property
    def seconds(self) -> float:
        """How long it was."""
        return self.last - self.first


@dataclass(frozen=True, slots=True, kw_only=True)
class Heating:
    """When the load was heated, s on the trace's clock.

    Attributes:
        start, stop: with their standard uncertainties.
        how: where they come from: "stated", "power log", "current log" or "ramp of the trace".
        on: each time that the mains side was seen energised; none where it was not logged.
        pauses: seen in the trace, where nothing else tells of them.
        in_load: the probe stood in the load throughout.
    """

    start: float
    stop: float
    u_start: float
    u_stop: float
    how: str
    on: tuple[OnTime, ...] = ()
    pauses: tuple[Pause, ...] = ()
    in_load: bool = True

    @property
    def duration(self) -> float:
        """From start to stop, s, warm-up and pauses included."""
        return self.stop - self.start

    @property
    def clock_time(self) -> Estimate:
        """From start to stop, s, with its errors."""
        return estimate(self.duration, *self.edges("start of heating"))

    def edges(self, first: str) -> list[Error]:
        """The errors of its two ends, the first under this name."""
        root = math.sqrt(3.0)
        return [
            rectangle(first, self.u_start * root, self.how),
            rectangle("stop of heating", self.u_stop * root, self.how),
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUp:
    """How long, s, the appliance was on each time before it gave full power, and how that is known."""

    seconds: float
    half_width: float
    how: str
    source: str = ""


def warm_up_of(heating: Heating, stated: StatedValue | None, *, is_oven: bool) -> WarmUp:
    """The warm-up: seen in the log, else stated, else what is usual of a microwave oven, else none.

    Args:
        is_oven: the method is one of microwave ovens; else a probe that stood in the load tells that it was none.
    """
    fine = bool(heating.on) and heating.on[0].half_width <= FINE_S / 2.0
    could = is_oven or not heating.in_load
    if fine and (could or any(run.warm_up for run in heating.on)):
        seconds = sum(run.warm_up for run in heating.on) / len(heating.on)
        return WarmUp(seconds=seconds, half_width=heating.on[0].half_width, how="seen in the log", source=heating.how)
    if heating.on and could:  # the first readings that show it on may be of the warm-up, or not
        longest = stated.value + (stated.half_width or 0.0) if stated else USUAL_S + USUAL_HALF_S
        how = f"anything up to {longest:g} s: the log is too coarse to show it"
        return WarmUp(
            seconds=longest / 2.0, half_width=longest / 2.0, how=how, source="stated" if stated else USUAL_SOURCE
        )
    if stated is not None:
        return WarmUp(seconds=stated.value, half_width=stated.half_width or 0.0, how="stated", source="stated")
    if could:
        why = (
            "the method is of a microwave oven" if is_oven else "the probe was out while it ran, as of a microwave oven"
        )
        return WarmUp(
            seconds=USUAL_S, half_width=USUAL_HALF_S, how=f"usual, not seen and not stated: {why}", source=USUAL_SOURCE
        )
    return WarmUp(seconds=0.0, half_width=0.0, how="none: the probe stood in the load while it ran")


def full_output_time(heating: Heating, warm_up: WarmUp) -> Estimate:
    """The time at full output, s, with its errors: what was on, less a warm-up each time and the pauses seen.

    Of a mains-side log every on-time counts from its own full power on; edges between readings are in doubt by half
    an interval each.
    """
    seconds, times, edges = heating.duration, 1, 0.0
    if heating.on:
        spans = [(max(run.start, heating.start), min(run.stop, heating.stop)) for run in heating.on]
        seen = [last - first for first, last in spans if last > first]
        seconds, times = sum(seen), len(seen)
        edges = heating.on[0].half_width * math.sqrt(max(2.0 * times - 2.0, 0.0))
    pauses = [] if heating.on else heating.pauses
    doubt = math.hypot(*(pause.u for pause in pauses)) * math.sqrt(3.0) if pauses else 0.0
    seconds -= times * warm_up.seconds + sum(pause.seconds for pause in pauses)
    first = "start of full output" if warm_up.how == "seen in the log" else "start of heating"
    errors = [
        *heating.edges(first),
        rectangle("pauses between on-times", edges, heating.how),
        rectangle("pauses seen in the trace", doubt, "trace"),
    ]
    if warm_up.how != "seen in the log":
        errors.append(rectangle("warm-up time", times * warm_up.half_width, warm_up.source))
    return estimate(seconds, *errors)
