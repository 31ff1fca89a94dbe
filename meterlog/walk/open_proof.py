"""An open circuit: shorted leads before and after, and in between the tips said to be on the points.

leads together ──▶ points ──said, open, held──▶ leads together again ──▶ open
      ▲               │ a number that settles is the answer: a leak, a short
      └── anything else in between, each told in words
"""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean
from typing import TYPE_CHECKING

from meterlog.base.readings import Bound
from meterlog.walk.proofs import BLIND_S, STILL_THERE, ProofWatch, Spell, lengthened
from meterlog.walk.settle import (
    LIFT_S,
    NOT_TAKEN_S,
    Criterion,
    DisplayStream,
    Held,
    Lost,
    Refuse,
    Sample,
    Signal,
    Sort,
    Stage,
    State,
    StatedContact,
    Window,
    shown_words,
)

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
MOVED = 3.0
"""A number so many times what shorted leads may show: the tips are on something else, lifted or not."""
PROMPT_S = 3.0
"""Tips pressed together so soon after the tone end a proof by themselves: later it may be the next step's points."""
SAME_OHMS = 0.1
"""They read as they did before, to so much and a step of the last digit; next points in series read more."""
AFTER_OPEN_S = 30.0
"""After so long nothing ends the proof any more."""
CLOSING_S = 3.0
"""Leads shorted so soon after a leak close its test."""
OPEN_SAID, CONTACT_SAID = "open proved, contact said", "settled, contact said"
TOGETHER = "hold the tips together until the tone"
COARSE = "keep the tips together: the display has not come down to ohms yet"
PRESS_TOGETHER = ": press with the tips together, if that is where they are"
BETWEEN = ": if the tips are on the points, press and stay; if they are together, lift them"
LEFT_TOO_SOON = "the contact changed before the tone: touch the points, press, and stay until the tone"
SILENCE = "the meter was silent: press again with the tips on the points"
TOO_QUICK = (
    "not proved open: the short at the end was too quick; begin again, and hold the tips together until the tone"
)
BEGIN_AGAIN = (
    "Were those the points, they are shorted: touch them and press. Were it the tips, nobody had said that they were"
    " on the points. Begin again with the tips together, then the points, and press there"
)
NO_RANGE_END = (
    "the profile of this meter does not say where its range ends, so that an open circuit can't be judged:"
    ' write "up to 40 Mohm" or what it is in the profile first'
)
STILL_TOGETHER = (
    "It has read low ever since the tips were together: lift them for a second, then touch the points and press."
)
HOLD_ON = ": hold the tips on the points until the tone"
TOO_LATE = "not proved open: the tips were not pressed together after it; begin again with the tips together"


class OpenProof(ProofWatch):
    """Leads shorted, the points open for `hold_s` from a press there, leads shorted again: an open circuit.

    A number that settles at the points is a leak: it is the answer instead. Points that are themselves
    shorted read as shorted leads do: they are the answer once said. One such contact between the first
    short and the press, however brief, and nothing before it counts. Signals `Stage` "open" (go to the
    points) and "short" (short the leads again).
    """

    def __init__(
        self, stream: DisplayStream, criterion: Criterion, hold_s: float, short: float, *, lifted: bool
    ) -> None:
        super().__init__(stream, lifted=lifted)
        self._hold_s, self._short = hold_s, short
        self._leak = Window(lengthened(criterion, hold_s))
        self._said_run = Window(criterion)
        self._start_again()

    def _start_again(self) -> None:
        self._first: tuple[int, int] | None = None
        self._leads: list[float] = []
        self._shorted = Spell(SHORT_S)
        self._shorted_values: list[float] = []
        self._has_left = False
        self._apart_since: float | None = None
        self._touched: Sample | None = None
        self._said_value: float | None = None
        self._said_together = False
        self._open: Held | None = None
        self._claimed: Sample | None = None
        self._is_blind, self._is_asked = False, False
        self._found: Capture | None = None
        self._found_at = 0.0
        self._clear_numbers()

    @property
    def _has_begun(self) -> bool:
        return self._first is not None

    def _after_silence(self) -> list[Signal]:
        self._clear_numbers()
        return self._drop_claim(SILENCE)

    def _clear_numbers(self) -> None:
        self._shorted.clear()
        self._shorted_values = []
        self._leak.clear()
        self._said_run.clear()

    # A press -----------------------------------------------------------------------------------

    def _said(self, last: Sample) -> list[Signal]:
        is_open = self._apart_since is not None
        if self._first is None:
            return [Refuse("First press the tips together, until the tone.")]
        if not self._has_left and not is_open:
            return [Refuse(STILL_TOGETHER)]
        if not is_open and may_be_short(last.reading, self._short) and not is_short(last.reading, self._short):
            return [Refuse("The display has not come down to ohms yet: keep the tips there, and press again.")]
        if not is_open:
            self._said_value = abs(last.reading.value or 0.0) if self._found is None else None
            self._said_together = self._found is not None
            self._said_run.clear()
            return [StatedContact(shown_words(last.reading))]
        if self._is_asked and self._open is not None and self._found is None:
            self._is_blind, self._is_asked = False, False
            return [StatedContact(shown_words(last.reading))]
        self._open, self._claimed, self._found = Held(any_range=True), last, None
        self._is_blind, self._is_asked = False, False
        self._open.add(last)
        self.state = State.SETTLING
        return [StatedContact(shown_words(last.reading))]

    # Readings ----------------------------------------------------------------------------------

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        if sort is Sort.APART:
            return self._opened(sample)
        out = self._ends_apart(sample.at)
        if out:
            return out
        self._touched = self._touched or sample
        self.state = State.CONTACT
        if sort is Sort.NUMBER and may_be_short(sample.reading, self._short):
            return self._low(sample)
        return self._number(sample, sort)

    def _ends_apart(self, at: float) -> list[Signal]:
        """A slow meter shows a lift in a single reading: it lasted until the next."""
        since, self._apart_since = self._apart_since, None
        return self._lifted(since) if since is not None and at - since >= LIFT_S else []

    def _opened(self, sample: Sample) -> list[Signal]:
        self._apart_since = sample.at if self._apart_since is None else self._apart_since
        self.state = State.APART if self._open is None else State.SETTLING
        self._clear_numbers()
        if sample.at - self._apart_since >= LIFT_S:
            out = self._lifted(self._apart_since)
            if out:
                return out
        if self._found is not None:
            return self._void(TOO_LATE) if sample.at - self._found_at > AFTER_OPEN_S else []
        if self._open is None or self._claimed is None:
            return self._tell_range(sample.reading)
        self._is_blind = self._is_blind or (self._open.length == 0 and sample.at - self._claimed.at > BLIND_S)
        if self._open.add(sample) < self._hold_s:
            return []
        if self._is_blind:
            self._is_asked = True
            return self._advise(STILL_THERE)
        said = (self._claimed.ordinal, self._claimed.ordinal)
        self._found, self._found_at = self._open.capture(OPEN_SAID, (said,)), sample.at
        return [Stage("short")]

    def _tell_range(self, reading: Reading) -> list[Signal]:
        """What would make all the work worth nothing is told before it."""
        if self._first is not None or reading.form.bound is not Bound.OVERLOAD or reading.form.range_top:
            return []
        return self._advise(NO_RANGE_END)

    def _lifted(self, at: float) -> list[Signal]:
        """The leads are apart for good: what ends by that."""
        self._said_value, self._said_together = None, False
        touched, self._touched = self._touched, None
        had_left, self._has_left = self._has_left, self._first is not None
        if touched is None:
            return []
        if self._found is not None:
            return self._void(TOO_QUICK)
        if self._first is None:
            return self._advise(TOGETHER)
        if not had_left:
            return []
        if may_be_short(touched.reading, self._short):
            return self._void(
                f"not proved open: {shown_words(touched.reading)} came in between. {BEGIN_AGAIN}", is_whole=True
            )
        return self._advise(HOLD_ON, shows=touched.reading) if at - touched.at > NOT_TAKEN_S else []

    def _low(self, sample: Sample) -> list[Signal]:
        """Leads held together, or points that are shorted."""
        long = self._shorted.add(sample)
        if is_short(sample.reading, self._short):
            self._shorted_values.append(abs(sample.reading.value or 0.0))
        proves = long and is_short(sample.reading, self._short)
        if self._first is not None and self._found is None:
            return self._in_between(sample) if self._has_left else []
        if not proves:
            return self._advise(COARSE) if long else []
        if self._found is None:
            self._first, self._leads = self._shorted.span, self._shorted_values
            return [Stage("open")]
        if not (self._said_together or self._is_prompt(sample.reading)):
            return self._advise(PRESS_TOGETHER, shows=sample.reading)
        assert self._first is not None
        return self._captured(replace(self._found, proof=(self._first, *self._found.proof, self._shorted.span)))

    def _is_prompt(self, reading: Reading) -> bool:
        """Whether what reads low now is surely the leads: soon after the tone, and no higher than before."""
        assert self._shorted.first is not None
        if self._shorted.first.at - self._found_at > PROMPT_S:
            return False
        more = fmean(self._shorted_values) - fmean(self._leads)
        return self._short != SHORT_OHMS or more <= SAME_OHMS + reading.form.resolution

    def _in_between(self, sample: Sample) -> list[Signal]:
        """Low ohms after the leads were proved and lifted, and before the open was proved."""
        found = self._at_points(sample)
        if found or not self._shorted.is_long_enough or self._said_value is not None:
            return found
        return self._advise(BETWEEN, shows=sample.reading)

    def _number(self, sample: Sample, sort: Sort) -> list[Signal]:
        self._shorted.clear()
        self._shorted_values = []
        if sort is not Sort.NUMBER or self._first is None:
            return []
        self._has_left = self._has_left or abs(sample.reading.value or 0.0) > MOVED * self._short
        if self._found is None:
            return self._at_points(sample) if self._has_left else []
        if self._leak.add(sample, self._stream.pace.period) is None:
            return []
        return self._void(f"not proved open: the tips touched {shown_words(sample.reading)} before they were together")

    def _at_points(self, sample: Sample) -> list[Signal]:
        """A number while the points are wanted: a leak once it settles, a short once it is said."""
        out, period = self._drop_claim(LEFT_TOO_SOON), self._stream.pace.period
        leak, said = self._leak.add(sample, period), self._said_run.add(sample, period)
        if self._said_value is not None and not self._is_same(sample.reading, self._said_value):
            self._said_value = None
            out += self._advise(LEFT_TOO_SOON, "open")
        if said is not None and self._said_value is not None:
            return [*out, *self._captured(replace(said, how=CONTACT_SAID))]
        if leak is not None and not may_be_short(leak.reading, self._short):
            return [*out, *self._captured(leak)]
        return out

    def _is_same(self, reading: Reading, said: float) -> bool:
        """Whether the tips still are on what somebody pressed for, as far as its value tells."""
        near = max(self._short, said / 2, COARSE_COUNTS * reading.form.resolution)
        return abs(abs(reading.value or 0.0) - said) <= near

    def _void(self, why: str, *, is_whole: bool = False) -> list[Signal]:
        """Nothing so far counts."""
        lasted = self._open.length if self._open else 0.0
        apart_since, touched = self._apart_since, self._touched
        self.forget()
        self._apart_since, self._touched = apart_since, touched
        return [Lost(lasted, why, is_whole=is_whole)]

    def _drop_claim(self, why: str) -> list[Signal]:
        """What was said no longer holds, unless it has been answered already."""
        if self._open is None or self._found is not None:
            return []
        self._open, self._is_asked = None, False
        return self._advise(why, "open")


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
