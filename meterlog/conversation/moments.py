"""Moments in whole microseconds: a sum of floats may never reach the moment that it was made for."""

from __future__ import annotations

A_SECOND = 1_000_000
KEPT = 1_000
"""The record keeps whole milliseconds: a moment that a conversation sets itself is one of those."""


def micros(at: float) -> int:
    """A time in s as whole µs.

    >>> micros(0.19), micros(0.19) + micros(0.5) - micros(0.19) == micros(0.5)
    (190000, True)
    """
    return round(at * A_SECOND)


def seconds(moment: int) -> float:
    """A moment in µs as s, the float next to it."""
    return moment / A_SECOND


def kept(moment: int) -> int:
    """The first moment from this one on that the record can keep."""
    return -(-moment // KEPT) * KEPT
