"""Answers that no single run gives: an open circuit and a dead circuit, each proved before and after.

An open circuit and leads in the air read the same, and so do a dead circuit and leads in the air.
Each is believed only between two readings of something known: shorted leads, or a known source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.settle import (
    LIFT_S,
    Criterion,
    Froze,
    Held,
    Lift,
    Lost,
    Sample,
    Settled,
    Signal,
    Sort,
    Stage,
    State,
    Stream,
    Window,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.readings import Capture, Reading

SHORT_S = 0.7
SHORT_READINGS = 2
SHORT_OHMS = 1.0
SHORT_VOLTS = 0.03
"""Leads held together read below this on ohms, and on the junction function."""
COARSE_COUNTS = 3
"""A range hunt passes coarse ranges, whose first counts a short may show: it takes a fine one to prove it."""
FLICKER_S = 1.0
"""Numbers between an open that was long enough and the second short: bounce and range hunting."""
SHORTED_POINTS = 2
"""Points that read as shorted leads are believed after so many times the window or the hold."""
SOURCE_PART = 0.05
SOURCE_S = 1.2
DEAD_VOLTS = 1.0
"""Near zero where neither the step's limit nor 5 % of its source is larger."""


class Spell:
    """An unbroken run of readings that are all of one kind: long enough to prove something, or not."""

    def __init__(self, seconds: float, readings: int) -> None:
        self._seconds, self._readings = seconds, readings
        self.clear()

    def clear(self) -> None:
        self._first: Sample | None = None
        self._last: Sample | None = None
        self._count = 0

    def add(self, sample: Sample) -> bool:
        """Take one more; whether the spell is long enough now."""
        self._first = self._first or sample
        self._last, self._count = sample, self._count + 1
        return self._count >= self._readings and sample.at - self._first.at >= self._seconds

    @property
    def started(self) -> float:
        """Time of its first reading, s."""
        assert self._first is not None
        return self._first.at

    @property
    def span(self) -> tuple[int, int]:
        """Ordinals of its first and last reading."""
        assert self._first is not None
        assert self._last is not None
        return self._first.ordinal, self._last.ordinal


class _Proof:
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


class OpenProof(_Proof):
    """Leads shorted, the points open for `hold_s`, leads shorted again: then it is an open circuit.

    A number that settles at the points is a leak: it is the answer instead. Points that are themselves
    shorted read as shorted leads do: believed when held far longer than anyone shorts leads, after the
    leads were proved and apart. Signals `Stage` "open" (shorted: go to the points) and "short" (open
    long enough: short the leads again).
    """

    def __init__(self, stream: Stream, criterion: Criterion, hold_s: float, short: float, *, lifted: bool) -> None:
        super().__init__(stream, lifted=lifted)
        self._hold_s, self._short = hold_s, short
        self._leak = Window(_lengthened(criterion, hold_s))
        self._bridged = Window(_lengthened(criterion, SHORTED_POINTS * max(criterion.length_s, hold_s)))
        self._start_again()

    def _start_again(self) -> None:
        self._first: tuple[int, int] | None = None
        self._shorted = Spell(SHORT_S, SHORT_READINGS)
        self._left = False
        self._open, self._proved = Held(any_range=True), False
        self._flickered: tuple[Held, float] | None = None
        self._clear_numbers()

    def _break_run(self, at: float) -> None:
        self._leave_open(at)
        self._clear_numbers()

    def _clear_numbers(self) -> None:
        self._shorted.clear()
        self._leak.clear()
        self._bridged.clear()

    def _leave_open(self, at: float) -> None:
        """The open run ends here; one that was long enough is kept for the second short, if that comes soon."""
        if self._proved:
            self._flickered = (self._open, at)
        self._open, self._proved = Held(any_range=True), False

    def confirm(self) -> Capture | None:
        """The open as a foot switch confirms it, if open is what shows at this moment."""
        return self._open.capture("switch") if self.state is State.APART and self._open.length > 0 else None

    def may_be_short(self, reading: Reading) -> bool:
        """A reading that shorted leads may show; on a coarse range other things do too."""
        limit = max(self._short, COARSE_COUNTS * reading.form.resolution)
        return reading.value is not None and abs(reading.value) <= limit

    def is_short(self, reading: Reading) -> bool:
        """A reading that only shorted leads show."""
        return self.may_be_short(reading) and COARSE_COUNTS * reading.form.resolution <= self._short

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        if sort is Sort.APART:
            return self._opened(sample)
        self.state = State.CONTACT
        self._leave_open(sample.at)
        if sort is Sort.NUMBER and self.may_be_short(sample.reading):
            return self._is_shorted(sample)
        return self._number(sample, sort)

    def _opened(self, sample: Sample) -> list[Signal]:
        self.state = State.APART
        self._clear_numbers()
        held_s = self._open.add(sample)
        self._left = self._left or (self._first is not None and held_s >= LIFT_S)
        if self._first is None or held_s < self._hold_s or self._proved:
            return []
        self._proved = True
        return [Stage("short")]

    def _is_shorted(self, sample: Sample) -> list[Signal]:
        self._leak.clear()
        bridged = self._bridged.add(sample, self._stream.pace.period)
        if bridged is not None and self._left:
            return self._captured(bridged)
        if not self._shorted.add(sample) or not self.is_short(sample.reading):
            return []
        proved = self._proved_open()
        if self._first is not None and proved is not None:
            return self._captured(proved.capture("open proved", (self._first, self._shorted.span)))
        fresh = self._first is None
        self._first, self._flickered = self._shorted.span, None
        return [Stage("open")] if fresh else []

    def _proved_open(self) -> Held | None:
        if self._flickered and self._shorted.started - self._flickered[1] <= FLICKER_S:
            return self._flickered[0]
        return None

    def _number(self, sample: Sample, sort: Sort) -> list[Signal]:
        self._shorted.clear()
        self._bridged.clear()
        if sort is not Sort.NUMBER or self._first is None:
            return []
        leak = self._leak.add(sample, self._stream.pace.period)
        return self._captured(leak) if leak is not None else []


class DeadProof(_Proof):
    """A known source, the points near zero and settled, the known source again: then it is dead.

    The lowest settled window between the two is the answer: the air may read higher, never steadier
    and lower. Signals `Stage` "points" and "source"; `Lost` when the second source finds nothing near zero.
    """

    def __init__(self, stream: Stream, criterion: Criterion, hold_s: float, source: float | None, dead: float) -> None:
        super().__init__(stream)
        self._source, self._dead = source, dead
        self._window = Window(_lengthened(criterion, hold_s))
        self._start_again()

    def _start_again(self) -> None:
        self._first: tuple[int, int] | None = None
        self._at_source = Spell(SOURCE_S, SHORT_READINGS)
        self._lowest: Capture | None = None
        self._window.clear()

    def _break_run(self, at: float) -> None:
        self._at_source.clear()
        self._window.clear()

    def is_source(self, reading: Reading) -> bool:
        """A reading of the known source; where its volts are not stated, anything well above dead."""
        if reading.value is None:
            return False
        if self._source is None:
            return abs(reading.value) > 2 * self._dead
        return abs(abs(reading.value) - abs(self._source)) <= SOURCE_PART * abs(self._source)

    def _as_apart(self, sample: Sample, sort: Sort) -> Sort:
        """Off the source is apart: the leads may still lie on it from the step before."""
        return Sort.NUMBER if self.is_source(sample.reading) else Sort.APART

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        if self.is_source(sample.reading):
            self._window.clear()
            self.state = State.CONTACT
            return self._sourced() if self._at_source.add(sample) else []
        self._at_source.clear()
        self.state = State.APART
        if self._first is None or sample.reading.value is None:
            self._window.clear()
            return []
        return self._points(self._window.add(sample, self._stream.pace.period))

    def _points(self, run: Capture | None) -> list[Signal]:
        if run is None:
            return []
        self.state = State.SETTLING
        fresh = self._lowest is None
        if fresh or _size(run) < _size(self._lowest):
            self._lowest = run
        return [Stage("source")] if fresh and _size(run) <= self._dead else []

    def _sourced(self) -> list[Signal]:
        span, lowest = self._at_source.span, self._lowest
        if self._first is None:
            self._first = span
            return [Stage("points")]
        if lowest is None:
            self._first = span
            return []
        if _size(lowest) <= self._dead:
            return self._captured(_proved(lowest, "dead proved", (self._first, span)))
        self._start_again()
        self._first = span
        shown = f"{lowest.reading.digits} {lowest.form.unit}"
        return [Lost(lowest.ended - lowest.started, f"not proved dead: the lowest steady reading was {shown}")]


def _size(run: Capture | None) -> float:
    value = run.reading.value if run else None
    return abs(value) if value is not None else float("inf")


def _proved(run: Capture, how: str, proof: tuple[tuple[int, int], ...]) -> Capture:
    return replace(run, how=how, proof=proof)


def _lengthened(criterion: Criterion, hold_s: float) -> Criterion:
    return replace(criterion, length_s=max(criterion.length_s, hold_s))


def leads_refusal(short: float) -> Callable[[Capture], str]:
    """For a step that nulls the leads: why a settled run cannot be shorted leads, or ""."""

    def refuse(run: Capture) -> str:
        value = run.reading.value
        shorted = value is not None and abs(value) <= short
        return "" if shorted else f"not shorted leads: {run.reading.digits} {run.form.unit}"

    return refuse
