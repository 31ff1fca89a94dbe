"""One link's readings to settled runs, for a step that wants a quantity: what happens when nobody presses a key.

    lift first ──apart──▶ apart ──number──▶ contact ──range stands──▶ settling ──▶ captured
        ▲                   ▲                  │                         │
        └─ HOLD, function ──┴──── apart ───────┴──────── apart ──────────┘   "lost" when it lasted

Nothing is captured unless the leads were seen apart first: they may still lie on the last points.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from meterlog.base.readings import Bound
from meterlog.base.units import symbol
from meterlog.walk.settle.contact import LIFT_S, DisplayStream, Lift, OpenLeads, Sort, Want
from meterlog.walk.settle.window import Criterion, Held, Sample, Window, same_range

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.base.readings import Capture, Reading

BOUND_HELD_S = 5.0
"""A bound that is the answer stands for so long; two seconds is how long a range hunt shows one."""
BOUND_ASKED_S = 2.0
"""A bound that leads off their points read as well: after so long the person is asked to say that they are on them."""
BOUND_SAID = "bound held, contact said"
NOT_TAKEN_S = 1.5
"""A contact that lasted longer and ended without a capture is told: the person must not walk on."""


class State(StrEnum):
    """Where one link stands with the step at hand."""

    LIFT_FIRST = "lift first"  # not armed: the leads may still lie on the last points
    APART = "apart"
    CONTACT = "contact"
    SETTLING = "settling"
    CAPTURED = "captured"
    FROZEN = "frozen"
    OTHER = "wrong function"


@dataclass(frozen=True, slots=True)
class Touched:
    """The leads are on something: two readings of one range."""


@dataclass(frozen=True, slots=True)
class Settled:
    """A run answers the step."""

    capture: Capture


@dataclass(frozen=True, slots=True)
class Lost:
    """A contact ended without a capture, or a proof failed and begins again, at `stage`.

    `is_whole`: everything was done but that contact was neither said nor seen.
    """

    lasted_s: float
    why: str = ""
    stage: str = ""
    is_whole: bool = False


@dataclass(frozen=True, slots=True)
class Froze:
    """The display holds: nothing is taken until HOLD is gone and the leads were apart."""


@dataclass(frozen=True, slots=True)
class Stage:
    """A proof came one stage further: what is wanted next."""

    word: str


@dataclass(frozen=True, slots=True)
class Live:
    """Points that should be dead are not: V, and what the display showed."""

    value: float
    shown: str


@dataclass(frozen=True, slots=True)
class StatedContact:
    """A person said that the tips are on the points; what the display showed at that moment."""

    shown: str


@dataclass(frozen=True, slots=True)
class Advice:
    """It does not go on by itself: what to do now. `stage` is where the proof stands by it, None as before."""

    words: str
    stage: str | None = None


@dataclass(frozen=True, slots=True)
class Refuse:
    """A press that says nothing here, and why: a sentence."""

    why: str


Signal = Touched | Settled | Lost | Froze | Stage | Live | StatedContact | Advice | Refuse


class StepWatch(Protocol):
    """What watches one link for one step, and says when the step is answered."""

    state: State

    def take(self, sample: Sample, sort: Sort) -> list[Signal]: ...
    def confirm(self) -> list[Signal]: ...


class Settler:
    """Finds the settled run, or the bound held, that answers a measuring step on one link.

    What leads off their points read as well (the bound of an insulation tester, next to no volts or
    amperes) is taken only on the word of a person that they are on them. `accepts` refuses a settled
    run that cannot be the answer (leads that are not shorted); it says why.
    """

    def __init__(
        self,
        want: Want,
        stream: DisplayStream,
        criterion: Criterion,
        *,
        again: bool = False,
        lifted: bool = False,
        accepts: Callable[[Capture], str] | None = None,
    ) -> None:
        self.state = State.APART if lifted else State.LIFT_FIRST
        self._want, self._stream, self._criterion = want, stream, criterion
        self._window, self._rest, self._held = Window(criterion), Window(criterion), Held()
        self._lift = Lift()
        self._again, self._accepts, self._refusal = again, accepts, ""
        self._touched: float | None = None
        self._last_contact = 0.0
        self._range: tuple[object, ...] | None = None
        self._now: Capture | None = None
        self._is_said, self._is_asked = False, False

    def take(self, sample: Sample, sort: Sort) -> list[Signal]:
        """Take the link's next reading, sorted; what it means for the step."""
        if self._stream.after_silence:
            self._forget_run()
        if sort in (Sort.FROZEN, Sort.OTHER):
            return self._unarm(sort, sample.at)
        lifted = self._lift.take(sort, sample.at)
        if self.state in (State.LIFT_FIRST, State.FROZEN, State.OTHER):
            idle_before = self._want.open_leads is OpenLeads.IDLE and self._stream.after_silence
            if not (lifted or idle_before):
                return []
            self.state = State.APART
        if self.state is State.CAPTURED or sort is Sort.BLANK:
            return []
        if sort is Sort.APART:
            return self._apart(sample, lifted)
        return self._contact(sample, sort)

    def confirm(self) -> list[Signal]:
        """What a press takes: the run as it stands, a bound that shows now; or the word that the tips are on it."""
        last = self._held.last
        if self._needs_word and last is not None and not self._is_said:
            self._is_said = True
            return [StatedContact(shown_words(last.reading))]
        run = self._held.capture("switch") if self._held.length > 0 else self._now
        return [Settled(run)] if run is not None else []

    @property
    def _needs_word(self) -> bool:
        """Whether a bound of this quantity is what leads off their points read as well."""
        return self._want.open_leads is OpenLeads.IDLE

    def _unarm(self, sort: Sort, at: float) -> list[Signal]:
        was, self.state = self.state, State.FROZEN if sort is Sort.FROZEN else State.OTHER
        self._forget_run()
        self._touched = None
        self._lift.take(sort, at)
        return [Froze()] if sort is Sort.FROZEN and was is not State.FROZEN else []

    def _forget_run(self) -> None:
        self._window.clear()
        self._held.clear()
        self._rest.clear()
        self._range, self._now = None, None
        self._is_said, self._is_asked = False, False

    def _apart(self, sample: Sample, lifted: bool) -> list[Signal]:
        self._window.clear()
        self._range, self._now = None, None
        self._is_said, self._is_asked = False, False
        if sample.reading.form.bound and self._want.matches(sample.reading.form):
            self._held.add(sample)
        else:
            self._held.clear()
            self._follow_rest(sample)
        if self._touched is None or not lifted:
            return []
        lasted, self._touched = self._last_contact - self._touched, None
        why, self._refusal = self._refusal, ""
        self.state = State.APART
        return [Lost(lasted, why)] if lasted > self._worth_telling else []

    @property
    def _worth_telling(self) -> float:
        return NOT_TAKEN_S if self._want.open_leads is not OpenLeads.REST else self._criterion.length_s

    def _follow_rest(self, sample: Sample) -> None:
        """What shows while the leads read as in the air: a resting value that drifts, or what a press may take."""
        quantity, leads = self._want.quantity, self._want.open_leads
        if sample.reading.value is None or not self._want.matches(sample.reading.form):
            return
        if leads is OpenLeads.STRAY or (leads is OpenLeads.REST and quantity in self._stream.resting):
            run = self._rest.add(sample, self._stream.pace.period)
            self._now = replace(run, how="switch") if run is not None else None
            drifts = leads is OpenLeads.REST and quantity not in self._stream.plateau
            if drifts and run is not None and run.reading.value is not None:
                self._stream.resting[quantity] = run.reading.value

    def _contact(self, sample: Sample, sort: Sort) -> list[Signal]:
        self._rest.clear()
        if self._again:
            self._stream.plateau.pop(self._want.quantity, None)
        if self._touched is None:
            self._touched, self.state = sample.at, State.CONTACT
        self._last_contact = sample.at
        signals: list[Signal] = []
        now = same_range(sample.reading.form)
        if now == self._range and self.state is State.CONTACT:
            self.state = State.SETTLING
            signals.append(Touched())
        self._range = now
        self._now = self._run(sample, sort)
        if self._now is not None and self._acceptable(self._now):
            self.state = State.CAPTURED
            return [*signals, Settled(self._now)]
        return signals + self._ask(sample)

    def _run(self, sample: Sample, sort: Sort) -> Capture | None:
        if sort is Sort.BOUND:
            self._window.clear()
            how = "bound held" if not self._needs_word else BOUND_SAID if self._is_said else ""
            return self._held.capture(how) if self._held.add(sample) >= BOUND_HELD_S and how else None
        self._held.clear()
        self._is_said, self._is_asked = False, False
        return self._window.add(sample, self._stream.pace.period)

    def _ask(self, sample: Sample) -> list[Signal]:
        """Ask for a press where only that can tell the points from the air; what is refused if none comes."""
        if not self._needs_word or self._is_said or self._held.length < BOUND_ASKED_S:
            return []
        words = shown_words(sample.reading)
        self._refusal = f"not proved: {words} is what leads off their points read as well; test again, and press then"
        if self._is_asked:
            return []
        self._is_asked = True
        return [Advice(f"{words}: leads off their points read the same; press while the tips are on them")]

    def _acceptable(self, run: Capture) -> bool:
        self._refusal = self._accepts(run) if self._accepts else ""
        return not self._refusal


def shown_words(reading: Reading) -> str:
    """What a display shows, with its unit, as it stands in a sentence."""
    bound = {Bound.ABOVE: "more than ", Bound.BELOW: "less than "}.get(reading.form.bound or Bound.OVERLOAD, "")
    if reading.form.bound and not (bound and reading.digits):
        return "over its range"
    return f"{bound}{reading.digits} {symbol(reading.form.unit)}"


__all__ = [
    "LIFT_S",
    "Advice",
    "Froze",
    "Live",
    "Lost",
    "Refuse",
    "Settled",
    "Settler",
    "Signal",
    "Stage",
    "State",
    "StatedContact",
    "StepWatch",
    "Touched",
]  # fmt: skip
