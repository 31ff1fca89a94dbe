"""Small least-squares fits: a line, a level with a settling tail, a few unknowns with what is known before.

Readings close together err together (a slow wander, a display that stands still), so every standard
uncertainty here counts them as fewer independent ones, by the correlation of the residuals.
"""

from __future__ import annotations

import math
import operator
from dataclasses import asdict, dataclass
from itertools import pairwise
from statistics import fmean
from typing import TYPE_CHECKING

from meterlog.base.straight import Straight, straight
from meterlog.base.uncertainty import effective_count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.heating.trace.columns import LoggedQuantity

Matrix = list[list[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedLine(Straight):
    """A straight line, `scatter` the deviation of readings from it.

    `worth` is how many independent readings they are worth; `u_slope` the standard uncertainty from that.
    """

    u_slope: float
    scatter: float
    count: int
    worth: float


def fit_line(times: Sequence[float], values: Sequence[float]) -> FittedLine:
    """The least-squares line through at least three readings."""
    n = len(times)
    line = straight(times, values)
    rest = [v - line.level - line.slope * (t - line.middle) for t, v in zip(times, values, strict=True)]
    scatter = math.sqrt(math.fsum(r * r for r in rest) / max(n - 2, 1))
    worth = independent(rest)
    u_slope = scatter / math.sqrt(line.spread) * math.sqrt(n / worth)
    return FittedLine(**asdict(line), u_slope=u_slope, scatter=scatter, count=n, worth=worth)


def independent(rest: Sequence[float]) -> float:
    """How many independent readings these residuals are worth, by the correlation of neighbours."""
    square = math.fsum(r * r for r in rest)
    if square == 0.0:
        return float(len(rest))
    together = math.fsum(a * b for a, b in pairwise(rest)) / square
    return effective_count(len(rest), min(max(together, 0.0), 0.98))


@dataclass(frozen=True, slots=True, kw_only=True)
class SettlingFit:
    """A level or line with a tail that dies away: level (+ slope (t - first)) + tail exp(-(t - first) / lag).

    Attributes:
        weights: the value sought (level, or slope of the line) is the sum of weights times readings.
        value, u_value: that value, and its standard uncertainty from the scatter.
        start: the level, or the line at the first reading, without the tail.
        tail, lag: the tail at the first reading, and its time constant, s; both 0 where none is seen.
        left: what remains of the tail at the last reading.
    """

    weights: tuple[float, ...]
    value: float
    u_value: float
    start: float
    scatter: float
    worth: float
    tail: float = 0.0
    lag: float = 0.0
    left: float = 0.0


_LAGS = tuple(0.7 * 1.5**n for n in range(13))
"""Time constants tried, s: 0.7 s to 1.5 min, and about the best of them:"""
_FINER = tuple(1.5 ** (k / 6.0) for k in (-4, -3, -2, -1, 1, 2, 3, 4))


def fit_level(readings: LoggedQuantity, values: Sequence[float]) -> SettlingFit:
    """The level of readings that may still be settling (probe lag, a vessel that follows)."""
    return _fit_settling(readings, values, sloped=False)


def fit_ramp(readings: LoggedQuantity, values: Sequence[float]) -> SettlingFit:
    """The slope of a straight rise whose beginning may be bent (probe lag, a vessel that follows)."""
    return _fit_settling(readings, values, sloped=True)


def _fit_settling(readings: LoggedQuantity, values: Sequence[float], *, sloped: bool) -> SettlingFit:
    """A tail is taken only when it explains the readings clearly better than none, for readings worth what they are.

    A coarse display that stands still repeats itself: its readings are worth no more than its changes tell.
    """
    times = readings.times
    length = times[-1] - times[0]
    fit, lag = _with_tail(times, values, 0.0, sloped=sloped), _likely_lag(times, values, sloped=sloped)
    if lag:
        bent = _with_tail(times, values, lag, sloped=sloped)
        worth = min(independent(bent.rest), readings.changes + 2.0)
        if fit.square - bent.square >= _CLEARLY * bent.square / max(worth - 3.0, 1.0):
            fit = bent
        else:
            lag = 0.0
    return _settling(fit, lag, 1 if sloped else 0, length)


def _likely_lag(times: Sequence[float], values: Sequence[float], *, sloped: bool) -> float:
    """The time constant, s, of the tail that explains the readings best; 0 when they are too few to tell."""
    times, values = thinned(times, values, 90)
    length = times[-1] - times[0]
    possible = [lag for lag in _LAGS if 0.7 * length / len(times) < lag < length / 3.0]
    if len(times) < 8 or not possible:
        return 0.0

    def square(lag: float) -> float:
        return _with_tail(times, values, lag, sloped=sloped).square

    best = min(possible, key=square)
    finer: list[float] = [best, *(best * step for step in _FINER)]
    return min(finer, key=square)


def thinned(times: Sequence[float], values: Sequence[float], most: int) -> tuple[Sequence[float], Sequence[float]]:
    """At most about so many readings, each the mean of as many neighbours."""
    if len(times) <= most:
        return times, values
    size = -(-len(times) // most)
    groups = [slice(k, k + size) for k in range(0, len(times) - size + 1, size)]
    return [fmean(times[g]) for g in groups], [fmean(values[g]) for g in groups]


def _with_tail(times: Sequence[float], values: Sequence[float], lag: float, *, sloped: bool) -> _Projection:
    first = times[0]
    shapes = [[1.0] * len(times)]
    if sloped:
        shapes.append([t - first for t in times])
    if lag:
        shapes.append([math.exp((first - t) / lag) for t in times])
    return _project(shapes, values)


_CLEARLY = 9.0
"""A tail must lower the residual square by this many times its share for one independent reading."""


def _settling(fit: _Projection, lag: float, sought: int, length: float) -> SettlingFit:
    worth = independent(fit.rest)
    scatter = math.sqrt(fit.square / max(len(fit.rest) - len(fit.x), 1))
    tail = fit.x[-1] if lag else 0.0
    return SettlingFit(
        weights=fit.weights(sought), value=fit.x[sought],
        u_value=scatter * math.sqrt(fit.inverse[sought][sought] * len(fit.rest) / worth),
        start=fit.x[0], scatter=scatter, worth=worth,
        tail=tail, lag=lag, left=tail * math.exp(-length / lag) if lag else 0.0,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Projection:
    x: list[float]
    inverse: Matrix
    shapes: list[list[float]]
    rest: list[float]
    square: float

    def weights(self, sought: int) -> tuple[float, ...]:
        row = self.inverse[sought]
        return tuple(
            math.fsum(c * s for c, s in zip(row, column, strict=True)) for column in zip(*self.shapes, strict=True)
        )


def _project(shapes: list[list[float]], values: Sequence[float]) -> _Projection:
    """Least squares of the values on the shapes, less their first value for the digits' sake."""
    base = values[0]
    y = [v - base for v in values]
    matrix = [[sum(map(operator.mul, a, b)) for b in shapes] for a in shapes]
    inverted = inverse(matrix)
    right = [sum(map(operator.mul, a, y)) for a in shapes]
    x = [sum(map(operator.mul, row, right)) for row in inverted]
    model = [sum(map(operator.mul, x, column)) for column in zip(*shapes, strict=True)]
    rest = list(map(operator.sub, y, model))
    x[0] += base
    return _Projection(x=x, inverse=inverted, shapes=shapes, rest=rest, square=sum(r * r for r in rest))


def solve(matrix: Matrix, right: Sequence[float]) -> list[float]:
    """x of A x = b for a small square A, by elimination with pivots. Raises: ZeroDivisionError when singular."""
    n = len(right)
    rows = [[*row, b] for row, b in zip(matrix, right, strict=True)]
    for k in range(n):
        pivot = max(range(k, n), key=lambda i: abs(rows[i][k]))
        rows[k], rows[pivot] = rows[pivot], rows[k]
        for i in range(k + 1, n):
            factor = rows[i][k] / rows[k][k]
            for j in range(k, n + 1):
                rows[i][j] -= factor * rows[k][j]
    out = [0.0] * n
    for k in reversed(range(n)):
        out[k] = (rows[k][n] - sum(rows[k][j] * out[j] for j in range(k + 1, n))) / rows[k][k]
    return out


def inverse(matrix: Matrix) -> Matrix:
    """A⁻¹ of a small square A."""
    n = len(matrix)
    rows = [[*row, *(1.0 if i == j else 0.0 for j in range(n))] for i, row in enumerate(matrix)]
    for k in range(n):
        pivot = max(range(k, n), key=lambda i: abs(rows[i][k]))
        rows[k], rows[pivot] = rows[pivot], rows[k]
        scale = 1.0 / rows[k][k]
        rows[k] = [scale * value for value in rows[k]]
        for i in range(n):
            if i != k and rows[i][k]:
                factor = rows[i][k]
                rows[i] = [a - factor * b for a, b in zip(rows[i], rows[k], strict=True)]
    return [row[n:] for row in rows]


def cholesky(matrix: Matrix) -> Matrix:
    """Lower triangle L of a covariance: L Lᵀ; a direction of no variance is left out."""
    n = len(matrix)
    low = [[0.0] * n for _ in range(n)]
    for i in range(n):
        for j in range(i + 1):
            part = matrix[i][j] - sum(low[i][k] * low[j][k] for k in range(j))
            if i == j:
                low[i][i] = math.sqrt(max(part, 0.0))
            elif low[j][j] > 0.0:
                low[i][j] = part / low[j][j]
    return low
