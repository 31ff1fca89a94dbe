"""The least-squares straight line through values over time: of a window, a rise, a run, a plateau."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class Straight:
    """y = level + slope (t - middle): it goes through the mean time and the mean value.

    `spread` is the sum of squared distances of the times from their mean.
    """

    middle: float
    level: float
    slope: float
    spread: float

    def at(self, time: float) -> float:
        return self.level + self.slope * (time - self.middle)


def straight(times: Sequence[float], values: Sequence[float]) -> Straight:
    """The least-squares line; level where all times are equal.

    Source: normal equations of a straight line, times and values taken from their means.
    """
    middle, level = math.fsum(times) / len(times), math.fsum(values) / len(values)
    spread = math.fsum((t - middle) ** 2 for t in times)
    above = math.fsum((t - middle) * (v - level) for t, v in zip(times, values, strict=True))
    return Straight(middle=middle, level=level, slope=above / spread if spread else 0.0, spread=spread)
