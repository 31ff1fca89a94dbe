"""What healthy ones read: where the next reading of a sound appliance of the same model is to be expected.

From a workshop's own readings that passed, in jobs that were closed, of one model and one step. A reading outside is
unlike the earlier ones; that is a remark, and never a verdict: limits judge.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import mean, median, stdev
from typing import TYPE_CHECKING

from meterlog.base.distributions import student_quantile

if TYPE_CHECKING:
    from collections.abc import Sequence

FEWEST = 3
"""Readings below which no interval is shown: from one or two it would be as wide as it is worthless."""

ROBUST_FROM = 10
"""Readings from which median and median deviation are used: a faulty one among them then hides nothing."""

MAD_FACTORS = {
    10: (3.05, 4.97), 11: (3.00, 4.88), 12: (2.81, 4.42), 14: (2.68, 4.07), 16: (2.56, 3.81), 20: (2.43, 3.53),
    25: (2.33, 3.33), 30: (2.26, 3.16), 40: (2.18, 3.00), 60: (2.10, 2.85), 100: (2.05, 2.74),
}  # fmt: skip
"""Half widths in scaled median deviations that hold the next of n + 1 normal values in 95 % and 99 % of cases.
Simulated, 400,000 draws each (`tests/core/diagnosis/test_healthy.py` simulates again); 1.96 and 2.58 at the end."""

_SCALED = 1.482602  # median deviation of a normal distribution to its standard deviation: 1 / quantile of 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierReading:
    """One earlier reading, SI, with one step of its display, SI; a bound has no value and is counted only."""

    value: float | None
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedInterval:
    """Where the next reading is expected.

    Attributes:
        count: readings that it rests on; `bounds` others were over range or beyond a bound.
        low, high: the interval that holds 95 % of sound ones, SI; None below `FEWEST`.
        unlike_low, unlike_high: outside these a reading is unlike the earlier ones: 99 % from `ROBUST_FROM`, else 95 %.
    """

    count: int
    bounds: int
    low: float | None = None
    high: float | None = None
    unlike_low: float | None = None
    unlike_high: float | None = None

    def is_unlike(self, value: float) -> bool | None:
        """Whether a reading, SI, is unlike the earlier ones; None where too few are known to say."""
        if self.unlike_low is None or self.unlike_high is None:
            return None
        return not self.unlike_low <= value <= self.unlike_high


def expected(earlier: Sequence[EarlierReading]) -> ExpectedInterval:
    """Where the next reading of a sound one is expected, after these.

    Values are taken on a logarithmic scale: resistances, capacitances and powers scatter by parts of themselves. Below
    `ROBUST_FROM` by Student's t for one further value, from there by the median deviation. Equal readings of a coarse
    display are spread evenly over its step first.

    Range: values above zero; others are counted as bounds.
    Source: prediction interval for one further observation of a normal distribution, mean and deviation unknown
        (ISO 16269-8:2004 by its scope; the formula from memory, held to simulation in the tests).
    """
    values = [reading for reading in earlier if reading.value is not None and reading.value > 0.0]
    bounds = len(earlier) - len(values)
    if len(values) < FEWEST:
        return ExpectedInterval(count=len(values), bounds=bounds)
    logs = [log(value) for value in _spread(values)]
    middle, (half, half_unlike) = _robust(logs) if len(logs) >= ROBUST_FROM else _student(logs)
    return ExpectedInterval(
        count=len(values),
        bounds=bounds,
        low=exp(middle - half),
        high=exp(middle + half),
        unlike_low=exp(middle - half_unlike),
        unlike_high=exp(middle + half_unlike),
    )


def _spread(readings: Sequence[EarlierReading]) -> list[float]:
    """The values, equal ones spread evenly over one step of the display."""
    same: dict[float, list[EarlierReading]] = defaultdict(list)
    for reading in readings:
        assert reading.value is not None
        same[reading.value].append(reading)
    return [
        max(value + each.step * ((place + 0.5) / len(group) - 0.5), value / 2.0)
        for value, group in same.items()
        for place, each in enumerate(group)
    ]


def _student(logs: Sequence[float]) -> tuple[float, tuple[float, float]]:
    n = len(logs)
    half = student_quantile(0.975, n - 1) * stdev(logs) * sqrt(1.0 + 1.0 / n)
    return mean(logs), (half, half)


def _robust(logs: Sequence[float]) -> tuple[float, tuple[float, float]]:
    middle = median(logs)
    deviation = _SCALED * median(abs(value - middle) for value in logs)
    known = max(n for n in MAD_FACTORS if n <= len(logs))
    usual, unlike = MAD_FACTORS[known]
    return middle, (usual * deviation, unlike * deviation)
