"""A start and a stop from a temperature: when its rise began, and when it ended.

Three lines lie through the trace: before, the rise, after. They meet at the start and at the stop, found
to a fraction of the interval between readings. A probe's lag moves both alike.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.base.straight import Straight, straight
from meterlog.walk.settle import Sample, Sort, State
from meterlog.walk.timed_watch import Edge, Ran, timed_capture
from meterlog.walk.water_rise import Rise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.walk.settle import Signal

AFTER_S = 30.0
"""No new height for so long: the rise is over."""
MIDDLE = (0.2, 0.8)
"""The rise is the line through the readings between these parts of it."""
FEWEST = 3
"""Readings that each of the three lines needs."""


class Sloped:
    """Watches a temperature stand, rise and stand again."""

    def __init__(self) -> None:
        self.state = State.APART
        self._seen = Rise()

    def take(self, sample: Sample, sort: Sort) -> list[Ran]:
        if self.state is State.CAPTURED or not self._seen.add(sample, sort):
            return []
        return self._ran() if self._seen.is_over(sample.at, AFTER_S) else []

    def confirm(self) -> list[Signal]:
        return []

    def _ran(self) -> list[Ran]:
        """Where the three lines meet; nothing when one of them has too few readings."""
        seen = self._seen
        low, high = (seen.lowest + part * (seen.highest - seen.lowest) for part in MIDDLE)
        rise = [each for each in seen.samples if low <= _value(each) <= high]
        if len(rise) < FEWEST:
            return []
        line = straight([each.at for each in rise], [_value(each) for each in rise])
        before = [each for each in seen.samples if each.at < rise[0].at and _value(each) < low]
        after = [each for each in seen.samples if each.at > seen.highest_at]
        if line.slope <= 0 or len(before) < FEWEST or len(after) < FEWEST:
            return []
        blur = _blur(rise, line)
        stood = before[: 2 * len(before) // 3]  # the last of them may rise already
        start, stop = (Edge(line.middle + (_level(each) - line.level) / line.slope, blur) for each in (stood, after))
        self.state = State.CAPTURED
        run = [each for each in seen.samples if start.at <= each.at <= stop.at]
        return [Ran(start, stop, timed_capture(start.at, stop.at, run[0].ordinal, run[-1].ordinal, len(run)))]


def _value(sample: Sample) -> float:
    value = sample.reading.value
    assert value is not None, "bounds are not kept"
    return value


def _level(samples: Sequence[Sample]) -> float:
    """The median of what stood, K."""
    values = sorted(_value(sample) for sample in samples)
    return values[len(values) // 2]


def _blur(samples: Sequence[Sample], rise: Straight) -> float:
    """Standard uncertainty of where two lines meet, s: last digit and scatter about the rise, over its slope."""
    scatter = [_value(sample) - rise.at(sample.at) for sample in samples]
    resolution = samples[0].reading.form.resolution / math.sqrt(12)
    return math.hypot(resolution, math.sqrt(sum(each**2 for each in scatter) / len(scatter))) / rise.slope
