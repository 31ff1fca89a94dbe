"""What proofs share: absence proves nothing by itself.

An open circuit and leads in the air read the same, and so do a dead circuit and leads in the air. So
the instrument is proved on something known before and after, and in between it must be known that the
tips were on the points: *said*, by a press while they are there, or *seen*, where the display shows
what the air does not give. Where neither is known, nothing is proved, in those words.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.walk.settle import (
    Advice,
    DisplayStream,
    Froze,
    Lift,
    Lost,
    Refuse,
    Sample,
    Settled,
    Signal,
    Sort,
    State,
    shown_words,
)

if TYPE_CHECKING:
    from meterlog.base.readings import Capture, Reading
    from meterlog.walk.settle import Criterion

BLIND_S = 0.5
"""Readings farther apart about a press may have missed what the tips were on then: it is said again at the end."""
STILL_THERE = "press again, with the tips still on the points: this meter shows too seldom to tell by one press"
NOT_READY = {
    State.LIFT_FIRST: "Take the tips off first: they may still lie on the last points.",
    State.FROZEN: "The display holds: release HOLD and lift the tips.",
    State.OTHER: "The meter stands on another function.",
    State.CAPTURED: "This is proved already.",
}
"""Why a press says nothing of the points in such a state."""


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
        return self._count >= self._readings and self.lasted_s >= self._seconds

    @property
    def lasted_s(self) -> float:
        """From its first reading to its last, s."""
        return self._last.at - self.first.at if self.first and self._last else 0.0

    @property
    def span(self) -> tuple[int, int]:
        """Ordinals of its first and last reading."""
        assert self.first is not None
        assert self._last is not None
        return self.first.ordinal, self._last.ordinal


class ProofWatch:
    """What both proofs share: arming, HOLD, another function, a silence, and advice that is given once."""

    def __init__(self, stream: DisplayStream, *, lifted: bool = False) -> None:
        self.state = State.APART if lifted else State.LIFT_FIRST
        self._stream = stream
        self._lift = Lift()
        self._advised = ""

    def take(self, sample: Sample, sort: Sort) -> list[Signal]:
        if sort in (Sort.FROZEN, Sort.OTHER):
            return self._unarm(sample, sort)
        out = self._after_cut() if self._stream.was_cut else []
        out += self._after_silence() if self._stream.after_silence else []
        apart = self._lift.take(self._as_apart(sample, sort), sample.at)
        if self.state in (State.LIFT_FIRST, State.FROZEN, State.OTHER):
            if not apart:
                return out
            self.state = State.APART
        return out if self.state is State.CAPTURED or sort is Sort.BLANK else out + self._step(sample, sort)

    def confirm(self) -> list[Signal]:
        """Take the word of the person, given at this moment, that the tips are on the points."""
        if self.state in NOT_READY:
            return [Refuse(NOT_READY[self.state])]
        last = self._stream.last
        return self._said(last) if last is not None else []

    def forget(self) -> None:
        """Begin again: nothing from before counts."""
        self._advised = ""
        self._start_again()

    def _after_cut(self) -> list[Signal]:
        """Another instrument may stand there now: what proved the one before proves nothing of this one."""
        had_begun = self._has_begun and self.state is not State.CAPTURED
        self.forget()
        return [Lost(0.0, "the link was lost: the proof begins again")] if had_begun else []

    def _unarm(self, sample: Sample, sort: Sort) -> list[Signal]:
        was, self.state = self.state, State.FROZEN if sort is Sort.FROZEN else State.OTHER
        out: list[Signal] = []
        if self._has_begun and was is not State.CAPTURED:
            why = "the display was held" if sort is Sort.FROZEN else "the meter left this function"
            out = [Lost(0.0, f"{why}: the proof begins again")]
        self.forget()
        self._lift.take(sort, sample.at)
        return [*out, Froze()] if sort is Sort.FROZEN and was is not State.FROZEN else out

    def _advise(self, words: str, stage: str | None = None, *, shows: Reading | None = None) -> list[Signal]:
        """What to do now so that it goes on: said at once, and once until something else is said.

        `shows` is the reading that is told before it: other digits make no other advice.
        """
        if words == self._advised and stage is None:
            return []
        self._advised = words
        return [Advice(f"{shown_words(shows)}{words}" if shows is not None else words, stage)]

    def _as_apart(self, sample: Sample, sort: Sort) -> Sort:
        return sort

    @property
    def _has_begun(self) -> bool:
        raise NotImplementedError

    def _start_again(self) -> None:
        raise NotImplementedError

    def _after_silence(self) -> list[Signal]:
        raise NotImplementedError

    def _said(self, last: Sample) -> list[Signal]:
        raise NotImplementedError

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        raise NotImplementedError

    def _captured(self, capture: Capture) -> list[Signal]:
        self.state = State.CAPTURED
        return [Settled(capture)]


def lengthened(criterion: Criterion, hold_s: float) -> Criterion:
    """A criterion whose window is no shorter than a step's hold."""
    return replace(criterion, length_s=max(criterion.length_s, hold_s))
