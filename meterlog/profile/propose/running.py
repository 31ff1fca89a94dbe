"""What runs with the clock says nothing of the display: counters, seconds, and what they carry into.

A column of numbers runs where, its turnings undone, it rises in step with the time of its frames from the first to the
last: nobody's measured value does that through every turn of the dial. A column beside it that changes at its
turnings alone, by one each time, runs too.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FEWEST = 20
"""Frames below which nothing is taken for a clock."""

LEAST_RISE = 10
"""How far a column must have risen to be taken for one."""

TURNS = (256, 100, 60, 10_000, 100_000, 1_000_000)
"""Where a column may begin anew: a byte, two figures, a minute's seconds, columns of text."""


def running(times: Sequence[float], columns: Mapping[int, Sequence[int | None]]) -> frozenset[int]:
    """The columns that run, of columns that stand side by side by their keys; None where a column has no number."""
    if len(times) < FEWEST:
        return frozenset()
    found = {key for key, values in columns.items() if _runs(times, values)}
    edge = list(found)
    while edge:
        key = edge.pop()
        for beside in (key - 1, key + 1):
            if beside in columns and beside not in found and _is_carried(columns[key], columns[beside]):
                found.add(beside)
                edge.append(beside)
    return frozenset(found)


def _runs(times: Sequence[float], values: Sequence[int | None]) -> bool:
    if None in values or len(set(values)) < LEAST_RISE:
        return False
    whole = [value for value in values if value is not None]
    return any(_is_straight(times, whole, turn) for turn in TURNS if max(whole) < turn)


def _is_straight(times: Sequence[float], values: Sequence[int], turn: int) -> bool:
    """Whether values that begin anew at `turn` rise in step with the time, within one step of theirs."""
    risen = [0, *itertools.accumulate((b - a) % turn for a, b in itertools.pairwise(values))]
    span = times[-1] - times[0]
    if risen[-1] < LEAST_RISE or span <= 0:
        return False
    pace = risen[-1] / span
    within = 1.0 + min(risen[-1] / (len(values) - 1), turn / 8)
    return all(abs(each - pace * (at - times[0])) <= within for each, at in zip(risen, times, strict=True))


def _is_carried(lower: Sequence[int | None], column: Sequence[int | None]) -> bool:
    """Whether a column goes on by one whenever the lower one begins anew, and at no other time."""
    if None in column or None in lower:
        return False
    turned = [b < a for a, b in itertools.pairwise(value or 0 for value in lower)]
    steps = [b - a for a, b in itertools.pairwise(value or 0 for value in column)]
    return (
        any(turned)
        and all((step != 0) == has_turned for step, has_turned in zip(steps, turned, strict=True))
        and all(step in (0, 1) for step in steps)
    )


def decimal_of(byte: int) -> int | None:
    """Two packed decimal figures of a byte; None where they are none."""
    return None if byte >> 4 > 9 or byte & 15 > 9 else 10 * (byte >> 4) + (byte & 15)
