"""An open circuit, proved by shorted leads before and after."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.walk.proofs import Proof, Spell, lengthened
from meterlog.walk.settle import LIFT_S, Criterion, Held, Sample, Signal, Sort, Stage, State, Stream, Window

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.base.readings import Capture, Reading

SHORT_S = 0.7
"""Shorted leads read so for so long; above 1 s real ones are lost."""
SHORT_OHMS = 1.0
SHORT_VOLTS = 0.03
"""Leads held together read below this on ohms, and on the junction function."""
COARSE_COUNTS = 3
"""A range hunt passes coarse ranges, whose first counts a short may show: it takes a fine one to prove it."""
FLICKER_S = 1.0
"""Numbers between an open that was long enough and the second short: bounce and range hunting."""
CLOSING_S = 3.0
"""Leads shorted so soon after a leak close its test."""
SHORTED_POINTS = 2
"""Points that read as shorted leads are believed after so many times the window or the hold."""


class OpenProof(Proof):
    """Leads shorted, the points open for `hold_s`, leads shorted again: then it is an open circuit.

    A number that settles at the points is a leak: it is the answer instead. Points that are themselves
    shorted read as shorted leads do: believed when held far longer than anyone shorts leads, after the
    leads were proved and apart. Signals `Stage` "open" (shorted: go to the points) and "short" (open
    long enough: short the leads again).
    """

    def __init__(self, stream: Stream, criterion: Criterion, hold_s: float, short: float, *, lifted: bool) -> None:
        super().__init__(stream, lifted=lifted)
        self._hold_s, self._short = hold_s, short
        self._leak = Window(lengthened(criterion, hold_s))
        self._bridged = Window(lengthened(criterion, SHORTED_POINTS * max(criterion.length_s, hold_s)))
        self._start_again()

    def _start_again(self) -> None:
        self._first: tuple[int, int] | None = None
        self._shorted = Spell(SHORT_S)
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

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        if sort is Sort.APART:
            return self._opened(sample)
        self.state = State.CONTACT
        self._leave_open(sample.at)
        if sort is Sort.NUMBER and may_be_short(sample.reading, self._short):
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
        if not self._shorted.add(sample) or not is_short(sample.reading, self._short):
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


def may_be_short(reading: Reading, short: float) -> bool:
    """A reading that shorted leads may show; on a coarse range other things do too."""
    limit = max(short, COARSE_COUNTS * reading.form.resolution)
    return reading.value is not None and abs(reading.value) <= limit


def is_short(reading: Reading, short: float) -> bool:
    """A reading that only shorted leads show."""
    return may_be_short(reading, short) and COARSE_COUNTS * reading.form.resolution <= short


class ClosingShort:
    """After a leak the leads are shorted once more, out of habit: that ends the test and answers nothing.

    Tells when the next step may begin: the leads were apart for `CLOSING_S`, touch something else, or
    were shorted and lifted again.
    """

    def __init__(self, short: float) -> None:
        self._short = short
        self._lifted_at: float | None = None
        self._came = False

    def take(self, sample: Sample, sort: Sort, *, lifted: bool) -> bool:
        """Whether it is over, after a reading of that sort; `lifted`: the leads were just lifted from anything."""
        if self._lifted_at is None:
            self._lifted_at = sample.at if lifted else None
            return False
        if sort is Sort.APART:
            return lifted and (self._came or sample.at - self._lifted_at >= CLOSING_S)
        if sort is not Sort.NUMBER or not may_be_short(sample.reading, self._short):
            return True
        self._came = self._came or is_short(sample.reading, self._short)
        return False


def leads_refusal(short: float) -> Callable[[Capture], str]:
    """For a step that nulls the leads: why a settled run cannot be shorted leads, or ""."""

    def refuse(run: Capture) -> str:
        value = run.reading.value
        shorted = value is not None and abs(value) <= short
        return "" if shorted else f"not shorted leads: {run.reading.digits} {run.form.unit}"

    return refuse
