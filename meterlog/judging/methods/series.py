"""A run of readings with their times, for methods that look at its course."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base.readings import Capture
from meterlog.judging.measurement import measured, shared_gain
from meterlog.judging.result import Context, Result, doubts, trails

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import Reading
    from meterlog.judging.accuracy import Accuracy


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingSeries:
    """Readings of one instrument with the times since the run began (switch-off, start of a test), s.

    Build it with `series_of`. Its points share the gain of the meter; each has its own counts.
    """

    quantity: str
    points: tuple[tuple[float, Result], ...]
    resolution: float
    trail: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def times(self) -> tuple[float, ...]:
        return tuple(t for t, _ in self.points)

    def results(self) -> tuple[tuple[float, Result], ...]:
        """(time, result) of every reading, in order of time."""
        return self.points

    def later(self, delay: float) -> ReadingSeries:
        """The series with its times counted from `delay` s before its own zero."""
        return replace(self, points=tuple((t + delay, result) for t, result in self.points))

    def at(self, time: float, tolerance: float) -> Result | None:
        """The reading nearest to a time, None when none lies within the tolerance, s."""
        if not self.points:
            return None
        found, result = min(self.points, key=lambda point: abs(point[0] - time))
        return result if abs(found - time) <= tolerance * (1 + 1e-9) else None


def series_of(
    readings: list[tuple[float, Reading]], *, accuracy: Accuracy | None, context: Context | None = None
) -> ReadingSeries:
    """A series from readings with their times, s; readings that give no number or bound are left out.

    Raises: ValueError, when there is no reading.
    """
    if not readings:
        raise ValueError("a series needs a reading")
    context = context or Context()
    gain = shared_gain(accuracy, context) if accuracy else None
    points: list[tuple[float, Result]] = []
    told: tuple[str, ...] = ()
    for time, reading in sorted(readings, key=lambda pair: pair[0]):
        result = measured(Capture.of_one(reading, time, "series"), accuracy=accuracy, context=context, gain=gain)
        told = told or result.doubts
        if result.number is not None:
            points.append((time, result))
    first, last = points[0] if points else (0.0, None), points[-1] if points else (0.0, None)
    line = f"series: {len(points)} readings, {first[0]:g} s {first[1]} to {last[0]:g} s {last[1]}"
    return ReadingSeries(
        quantity=readings[0][1].form.quantity,
        points=tuple(points),
        resolution=max(reading.form.resolution for _, reading in readings),
        trail=(line,),
        doubts=told,
    )


def series_from(results: Sequence[tuple[float, Result]]) -> ReadingSeries:
    """A series of results that were taken at different times, s, each with its own errors."""
    rows = sorted(results, key=lambda pair: pair[0])
    zero = rows[0][0]
    return ReadingSeries(
        quantity=rows[0][1].quantity,
        points=tuple((at - zero, result) for at, result in rows),
        resolution=0.0,
        trail=trails([result for _, result in rows]),
        doubts=doubts([result for _, result in rows]),
    )
