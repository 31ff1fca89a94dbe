"""The reading at a stated time after the test began: insulation resistance at one minute."""

from __future__ import annotations

from meterlog.walk.settle import (
    BOUND_ASKED_S,
    NOT_TAKEN_S,
    Advice,
    DisplayStream,
    Froze,
    Held,
    Lift,
    Lost,
    Refuse,
    Sample,
    Settled,
    Signal,
    Sort,
    State,
    StatedContact,
    capture_of,
    shown_words,
)

EARLY_PERIODS = 1.2
"""The test began up to one period before its first reading: a test that ends so early has lasted long enough."""
ON_TIME_PERIODS = 0.2
"""Readings jitter by so much of their period."""


class AtTime:
    """Takes the first reading at or after `at_s`, counted from the test's first value or bound.

    A test that ends sooner leaves nothing, unless its last reading came within one period of the time.
    A bound at that time is what leads off their points read as well: it is taken only where a press
    during the test said that they are on them.
    """

    def __init__(self, stream: DisplayStream, at_s: float, *, lifted: bool = False) -> None:
        self.state = State.APART if lifted else State.LIFT_FIRST
        self._stream, self._at_s = stream, at_s
        self._lift = Lift()
        self._began: float | None = None
        self._late: Sample | None = None
        self._last = 0.0
        self._is_said, self._is_asked = False, False

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
        """Take the word of the person that the tips are on the points, for this test."""
        last = self._stream.last
        if self._began is None or last is None:
            return [Refuse("No test runs: press while it does, with the tips on the points.")]
        self._is_said = True
        return [StatedContact(shown_words(last.reading))]

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
        return self._ask(sample)

    def _ask(self, sample: Sample) -> list[Signal]:
        """Ask for a press in time, where what shows is what the air gives as well."""
        if not sample.reading.form.bound or self._is_said or self._is_asked or self.elapsed_s < BOUND_ASKED_S:
            return []
        self._is_asked = True
        words = shown_words(sample.reading)
        return [Advice(f"{words}: leads off their points read the same; press while the tips are on them")]

    def _end(self) -> list[Signal]:
        lasted, late = self.elapsed_s, self._late
        out = self._captured(late) if late is not None else []
        self._began, self._late, self._is_said, self._is_asked = None, None, False, False
        if late is not None:
            return out
        self.state = State.APART
        return [Lost(lasted, f"the test ended after {lasted:.0f} s")] if lasted > NOT_TAKEN_S else []

    def _captured(self, sample: Sample) -> list[Signal]:
        if sample.reading.form.bound and not self._is_said:
            lasted, self._began, self._late, self.state = self.elapsed_s, None, None, State.LIFT_FIRST
            why = f"not proved: {shown_words(sample.reading)} is what leads off their points read as well"
            return [Lost(lasted, f"{why}; test again, and press with the tips on them")]
        self.state = State.CAPTURED
        if sample.reading.form.bound:
            held = Held()
            held.add(sample)
            return [Settled(held.capture("at time, contact said"))]
        return [Settled(capture_of([sample], "at time"))]
