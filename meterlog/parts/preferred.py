"""Preferred values: the E series of IEC 60063.

E48, E96 and E192 follow their rule, round(100 · 10^(i/n)), but for 9.20. E24 and below do not
follow theirs in eight places and are listed.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

from meterlog.base.units import scaled

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_E192_EXCEPTION = {919: 920}
SOURCE = "IEC 60063, as an encyclopedia reproduces it; the exception 9.20 of E192 from memory"
MARK = "read second-hand"


def _fine(count: int) -> tuple[int, ...]:
    rule = (round(100 * 10 ** (i / count)) for i in range(count))
    return tuple(_E192_EXCEPTION.get(value, value) for value in rule)


SERIES: dict[str, tuple[int, ...]] = {
    "E3": tuple(10 * value for value in _E24[::8]),
    "E6": tuple(10 * value for value in _E24[::4]),
    "E12": tuple(10 * value for value in _E24[::2]),
    "E24": tuple(10 * value for value in _E24),
    "E48": _fine(48),
    "E96": _fine(96),
    "E192": _fine(192),
}
"""The values of one decade of each series, from 100 to 988."""

USUAL_TOLERANCE = {"E3": 0.4, "E6": 0.2, "E12": 0.1, "E24": 0.05, "E48": 0.02, "E96": 0.01, "E192": 0.005}
"""The tolerance that each series is usually made in, as a part of the value."""


RUN_MICROFARADS = (
    1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 6.3, 7.0, 8.0, 9.0, 10.0, 12.0, 12.5, 14.0, 15.0, 16.0, 18.0, 20.0,
    25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0, 80.0, 90.0, 100.0,
)  # fmt: skip
"""What motor run capacitors are sold in, µF: no E series. Common practice, no source; makers' lists from memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbours:
    """The preferred values around a wanted one, SI of the wanted value.

    Attributes:
        below, above: nearest values; both the wanted one when it is a preferred value.
        nearest: the one whose ratio to the wanted value is closer to 1.
        deviation: nearest / wanted − 1.
    """

    series: str
    below: float
    above: float
    nearest: float
    deviation: float


def _decade(value: float) -> int:
    return math.floor(math.log10(value) + 1e-12)


def _at(series: str, decade: int, index: int) -> float:
    values = SERIES[series]
    turns, place = divmod(index, len(values))
    return scaled(values[place], 2 - decade - turns, 1.0)


def neighbours(value: float, series: str) -> Neighbours:
    """The preferred values around `value`. Raises: ValueError, when it is not positive.

    >>> neighbours(4900.0, "E24").nearest
    5100.0
    """
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"a part's value is above zero, not {value:g}")
    decade = _decade(value)
    scaled_value = value / 10.0 ** (decade - 2)
    index = bisect_left(SERIES[series], scaled_value * (1 - 1e-9))
    above = _at(series, decade, index)
    below = above if math.isclose(above, value, rel_tol=1e-9) else _at(series, decade, index - 1)
    nearest = below if value / below <= above / value else above
    return Neighbours(series=series, below=below, above=above, nearest=nearest, deviation=nearest / value - 1.0)


def series_of(value: float) -> tuple[str, ...]:
    """The series that hold a value, coarsest first; none when it is no preferred value.

    >>> series_of(3300.0), series_of(3320.0)
    (('E6', 'E12', 'E24'), ('E48', 'E96', 'E192'))
    """
    return tuple(name for name in SERIES if neighbours(value, name).below == neighbours(value, name).above)


def between(low: float, high: float, series: str) -> tuple[float, ...]:
    """Every preferred value from `low` to `high`, both included, in order.

    Raises: ValueError, when `low` is not above zero.
    """
    found = []
    value = neighbours(low * (1 - 1e-12), series).above
    while value <= high * (1 + 1e-9):
        found.append(value)
        value = neighbours(value * (1 + 1e-6), series).above
    return tuple(found)
