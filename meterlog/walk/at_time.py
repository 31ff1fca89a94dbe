"""The reading at a stated time after the test began: insulation resistance at one minute."""

from __future__ import annotations

from meterlog.walk.settle import Froze, Held, Lift, Lost, Sample, Settled, Signal, Sort, State, Stream, capture_of
from meterlog.walk.settle.settler import NOT_TAKEN_S

EARLY_PERIODS = 1.2
"""The test began up to one period before its first reading: a test that ends so early has lasted long enough."""
ON_TIME_PERIODS = 0.2
"""Readings jitter by so much of their period."""


class AtTime:
    """Takes the first reading at or after `at_s`, counted from the test's first value or bound.

    A test that ends sooner leaves nothing, unless its last reading came within one period of the time.
    """

    def __init__(self, stream: Stream, at_s: float, *, lifted: bool = False) -> None:
        self.state = State.APART if lifted else State.LIFT_FIRST
        self._stream, self._at_s = stream, at_s
        self._lift = Lift()
        self._began: float | None = None
        self._late: Sample | None = None
        self._last = 0.0

    def take(self, sample: Sample, sort: Sort) -> list[Signal]:
        if sort is Sort.FROZEN:
            was, self.state, self._began = self.state, State.FROZEN, None
            self._lift.take(sort, sample.at)
            return [Froze()] if was is not State.FROZEN else []
        if self.state is State.CAPTURED or sort is Sort.BLANK:
            return []
        silent = self._stream.after_silence
        ended = self._end() if (silent or sort is Sort.APART) and self._began is not None else []
        if any(isinstance(signal, Settled) for signal in ended):
            return ended
        if self._lift.take(sort, sample.at) or silent:
            self.state = State.APART
        if sort in (Sort.NUMBER, Sort.BOUND) and self.state in (State.APART, State.SETTLING):
            return ended + self._running(sample)
        return ended

    def confirm(self) -> list[Signal]:
        return []

    def finish(self) -> list[Signal]:
        """The recording ends, and with it a test that runs."""
        return self._end() if self._began is not None and self.state is not State.CAPTURED else []

    @property
    def elapsed_s(self) -> float:
        """Since the test began, s; 0 when none runs."""
        return self._last - self._began if self._began is not None else 0.0

    def _running(self, sample: Sample) -> list[Signal]:
        self.state = State.SETTLING
        self._began = sample.at if self._began is None else self._began
        self._last = sample.at
        period = self._stream.pace.period
        if self.elapsed_s >= self._at_s - ON_TIME_PERIODS * period:
            return self._captured(sample)
        if self.elapsed_s >= self._at_s - EARLY_PERIODS * period:
            self._late = sample
        return []

    def _end(self) -> list[Signal]:
        lasted, late = self.elapsed_s, self._late
        self._began, self._late, self.state = None, None, State.APART
        if late is not None:
            return self._captured(late)
        return [Lost(lasted, f"the test ended after {lasted:.0f} s")] if lasted > NOT_TAKEN_S else []

    def _captured(self, sample: Sample) -> list[Signal]:
        self.state = State.CAPTURED
        if sample.reading.form.bound:
            held = Held()
            held.add(sample)
            return [Settled(held.capture("at time"))]
        return [Settled(capture_of([sample], "at time"))]
