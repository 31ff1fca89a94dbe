"""A start and a stop from a temperature: when its rise began, and when it ended.

Three lines lie through the trace: before, the rise, after. They meet at the start and at the stop, found
to a fraction of the interval between readings. A probe's lag moves both alike.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.settle import Sample, Sort, State
from meterlog.walk.timed import Edge, Ran, timed_capture

if TYPE_CHECKING:
    from collections.abc import Sequence

RISE_K = 3.0
"""A rise that is no draught and no hand on the probe."""
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
        self._samples: list[Sample] = []
        self._lowest, self._highest, self._highest_at = float("inf"), float("-inf"), 0.0

    def take(self, sample: Sample, sort: Sort) -> list[Ran]:
        value = sample.reading.value
        if sort in (Sort.OTHER, Sort.FROZEN) or value is None or self.state is State.CAPTURED:
            return []
        self._samples.append(sample)
        self._lowest = min(self._lowest, value)
        if value > self._highest + 2 * sample.reading.form.resolution:
            self._highest, self._highest_at = value, sample.at
        if self._highest - self._lowest < RISE_K or sample.at - self._highest_at < AFTER_S:
            return []
        return self._ran()

    def confirm(self) -> None:
        return None

    def _ran(self) -> list[Ran]:
        """Where the three lines meet; nothing when one of them has too few readings."""
        span = self._highest - self._lowest
        low, high = (self._lowest + part * span for part in MIDDLE)
        rise = [each for each in self._samples if low <= _value(each) <= high]
        if len(rise) < FEWEST:
            return []
        slope, middle, mean = _line(rise)
        before = [each for each in self._samples if each.at < rise[0].at and _value(each) < low]
        after = [each for each in self._samples if each.at > self._highest_at]
        if slope <= 0 or len(before) < FEWEST or len(after) < FEWEST:
            return []
        blur = _blur(rise, slope)
        stood = before[: 2 * len(before) // 3]  # the last of them may rise already
        start, stop = (Edge(middle + (_level(each) - mean) / slope, blur) for each in (stood, after))
        self.state = State.CAPTURED
        run = [each for each in self._samples if start.at <= each.at <= stop.at]
        return [Ran(start, stop, timed_capture(start.at, stop.at, run[0].ordinal, run[-1].ordinal, len(run)))]


def _value(sample: Sample) -> float:
    value = sample.reading.value
    assert value is not None, "bounds are not kept"
    return value


def _level(samples: Sequence[Sample]) -> float:
    """The median of what stood, K."""
    values = sorted(_value(sample) for sample in samples)
    return values[len(values) // 2]


def _line(samples: Sequence[Sample]) -> tuple[float, float, float]:
    """Least-squares slope, K/s, and the point that the line goes through: mean time and mean value."""
    middle = sum(sample.at for sample in samples) / len(samples)
    mean = sum(_value(sample) for sample in samples) / len(samples)
    below = sum((sample.at - middle) ** 2 for sample in samples)
    above = sum((sample.at - middle) * (_value(sample) - mean) for sample in samples)
    return above / below, middle, mean


def _blur(samples: Sequence[Sample], slope: float) -> float:
    """Standard uncertainty of where two lines meet, s: last digit and scatter about the rise, over its slope."""
    _, middle, mean = _line(samples)
    scatter = [_value(sample) - mean - slope * (sample.at - middle) for sample in samples]
    resolution = samples[0].reading.form.resolution / math.sqrt(12)
    return math.hypot(resolution, math.sqrt(sum(each**2 for each in scatter) / len(scatter))) / slope
