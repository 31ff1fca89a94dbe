"""What proofs share: an open or a dead circuit is believed only between two readings of something known.

An open circuit and leads in the air read the same, and so do a dead circuit and leads in the air.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.walk.settle import Froze, Lift, Sample, Settled, Signal, Sort, State, Stream

if TYPE_CHECKING:
    from meterlog.base.readings import Capture
    from meterlog.walk.settle import Criterion


class Spell:
    """An unbroken run of readings that are all of one kind: long enough to prove something, or not."""

    def __init__(self, seconds: float, readings: int = 2) -> None:
        self._seconds, self._readings = seconds, readings
        self.clear()

    def clear(self) -> None:
        self.first: Sample | None = None
        self._last: Sample | None = None
        self._count = 0

    def add(self, sample: Sample) -> bool:
        """Take one more; whether the spell is long enough now."""
        self.first = self.first or sample
        self._last, self._count = sample, self._count + 1
        return self.is_long_enough

    @property
    def is_long_enough(self) -> bool:
        if self.first is None or self._last is None:
            return False
        return self._count >= self._readings and self._last.at - self.first.at >= self._seconds

    @property
    def started(self) -> float:
        """Time of its first reading, s."""
        assert self.first is not None
        return self.first.at

    @property
    def span(self) -> tuple[int, int]:
        """Ordinals of its first and last reading."""
        assert self.first is not None
        assert self._last is not None
        return self.first.ordinal, self._last.ordinal


class Proof:
    """What both proofs share: arming, HOLD, another function, a silence."""

    def __init__(self, stream: Stream, *, lifted: bool = False) -> None:
        self.state = State.APART if lifted else State.LIFT_FIRST
        self._stream = stream
        self._lift = Lift()

    def take(self, sample: Sample, sort: Sort) -> list[Signal]:
        if sort in (Sort.FROZEN, Sort.OTHER):
            was, self.state = self.state, State.FROZEN if sort is Sort.FROZEN else State.OTHER
            self._start_again()
            self._lift.take(sort, sample.at)
            return [Froze()] if sort is Sort.FROZEN and was is not State.FROZEN else []
        if self._stream.after_silence:
            self._break_run(sample.at)
        apart = self._lift.take(self._as_apart(sample, sort), sample.at)
        if self.state in (State.LIFT_FIRST, State.FROZEN, State.OTHER):
            if not apart:
                return []
            self.state = State.APART
        return [] if self.state is State.CAPTURED or sort is Sort.BLANK else self._step(sample, sort)

    def confirm(self) -> Capture | None:
        return None

    def _as_apart(self, sample: Sample, sort: Sort) -> Sort:
        return sort

    def _start_again(self) -> None:
        raise NotImplementedError

    def _break_run(self, at: float) -> None:
        raise NotImplementedError

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        raise NotImplementedError

    def _captured(self, capture: Capture) -> list[Signal]:
        self.state = State.CAPTURED
        return [Settled(capture)]


def lengthened(criterion: Criterion, hold_s: float) -> Criterion:
    """A criterion whose window is no shorter than a step's hold."""
    return replace(criterion, length_s=max(criterion.length_s, hold_s))
