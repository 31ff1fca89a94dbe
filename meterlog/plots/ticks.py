"""Round values along an axis, and how they are written."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

FEWEST_ULPS = 8
"""A range of fewer floats than this has no room for ticks that differ: it is drawn as one value."""
SAME = Fraction(1, 10**9)
"""A value within this part of a step of a tick lies on it."""


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round values from `low` or below to `high` or above, in steps of 1, 2 or 5 times a power of ten.

    Counted in whole steps, exactly: as floats, steps far from zero miss their multiples and each other.

    >>> ticks(0.0, 9.3)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    if high - low < FEWEST_ULPS * math.ulp(max(abs(low), abs(high))):
        half = abs(low) / 2 or 0.5
        low, high = low - half, high + half
    rough = (high - low) / (most - 1)
    power = Fraction(10) ** math.floor(math.log10(rough))
    step = next(power * part for part in (1, 2, 5, 10) if power * part >= rough * (1 - 1e-9))
    first, last = math.floor(Fraction(low) / step + SAME), math.ceil(Fraction(high) / step - SAME)
    return [float(step * n) for n in range(first, last + 1)]


def tick_words(values: Sequence[float]) -> list[str]:
    """Ticks written with as many decimals as their step needs, and no more."""
    step = values[1] - values[0]
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return [f"{value:.{decimals}f}".replace("-", "−") for value in values]
