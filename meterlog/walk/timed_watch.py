"""A start and a stop: from acts, or from a quantity that comes and goes (a power meter's current)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.readings import Capture, Form
from meterlog.walk.settle import Sort, State

if TYPE_CHECKING:
    from meterlog.walk.settle import Sample, Signal

CLOCK = Form(quantity="time", unit="s", scale=1.0, decimals=1)
"""A timed step's value, to the tenth of a second."""


def timed_capture(started: float, stopped: float, first: int = 0, last: int = 0, count: int = 0) -> Capture:
    """The time between a start and a stop as a capture; `count` is 0 when no reading made it."""
    return Capture(
        form=CLOCK,
        counts=round((stopped - started) * 10),
        count=count,
        spread=0.0,
        deviation=0.0,
        started=started,
        ended=stopped,
        first=first,
        last=last,
        how="timed",
    )


@dataclass(frozen=True, slots=True)
class Edge:
    """When something began or ended, s, with the standard uncertainty of that, s."""

    at: float
    uncertainty_s: float


def edge_between(before: float, after: float) -> Edge:
    """Something that changed between two readings: in the middle, rectangular over the gap."""
    return Edge((before + after) / 2, (after - before) / math.sqrt(12))


@dataclass(frozen=True, slots=True)
class Runs:
    """The quantity came: the timed step runs since then."""

    start: Edge


@dataclass(frozen=True, slots=True)
class Ran:
    """The quantity came and went."""

    start: Edge
    stop: Edge
    capture: Capture


class Switched:
    """Watches a quantity come (two readings of something) and go (two readings of nothing)."""

    def __init__(self) -> None:
        self.state = State.LIFT_FIRST
        self._before: Sample | None = None
        self._turned: list[Sample] = []
        self._start: tuple[Edge, Sample] | None = None

    def take(self, sample: Sample, sort: Sort) -> list[Runs | Ran]:
        if sort in (Sort.BLANK, Sort.FROZEN, Sort.OTHER) or self.state is State.CAPTURED:
            return []
        if self.state is State.LIFT_FIRST:
            if sort is Sort.APART:
                self.state, self._before = State.APART, sample
            return []
        is_on = sort is not Sort.APART
        if is_on == (self.state is State.SETTLING):
            self._before, self._turned = sample, []
            return []
        self._turned.append(sample)
        return self._turn() if len(self._turned) == 2 else []

    def confirm(self) -> list[Signal]:
        return []

    def _turn(self) -> list[Runs | Ran]:
        assert self._before is not None
        edge, first = edge_between(self._before.at, self._turned[0].at), self._turned[0]
        self._before, self._turned = self._turned[-1], []
        if self._start is None:
            self._start, self.state = (edge, first), State.SETTLING
            return [Runs(edge)]
        start, began = self._start
        self.state = State.CAPTURED
        count = first.ordinal - began.ordinal
        return [Ran(start, edge, timed_capture(start.at, edge.at, began.ordinal, first.ordinal - 1, count))]
