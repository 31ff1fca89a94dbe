"""What a walk tells: each a record with the time it happened, s on the session's clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.base.readings import Capture


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """Something happened to a step ("" for the job as a whole)."""

    step: str
    at: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Acted(Happening):
    """A person did something, meant for `step`; what came of it follows. `act` is the act's identity."""

    word: str
    act: str = ""
    to: str = ""
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepBegan(Happening):
    """A step is at hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledged(Happening):
    """The cautions of a step, or of the procedure, were acknowledged; `who` is "" for a replay's assumption.

    `cautions` are those that were not read before; none where a live point was.
    """

    who: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting(Happening):
    """A step waits for others: `needs` names the steps that have not passed, or no longer stand."""

    needs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofsEnded(Happening):
    """What was proved or looked at before is a memory: `keys` open no gate any more. `why` in words."""

    keys: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reopened(Happening):
    """The appliance is open again: these steps are to be done again. Each key's captures until now."""

    keys: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Overrode(Happening):
    """A gate was passed with a written reason, which is kept and shown."""

    needs: tuple[str, ...]
    reason: str
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured(Happening):
    """A run answers the step. Source "" is the walk's own clock (a timed step)."""

    source: str
    capture: Capture


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTyped(Happening):
    """A person typed what an instrument showed that is not heard; its capture follows. As `base.readings.Typed`."""

    words: str
    instrument: str
    accuracy: str
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed(Happening):
    """A start and a stop, s, with the standard uncertainty of each edge, s."""

    started: float
    stopped: float
    start_uncertainty_s: float
    stop_uncertainty_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Started(Happening):
    """A timed step runs since then."""

    uncertainty_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof(Happening):
    """A proof came one stage further; `wants` is what comes next: "open", "short", "points", "source"."""

    source: str
    wants: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongFunction(Happening):
    """An instrument stands on another function; told once, then waited for. Modes tell AC from DC."""

    source: str
    shows: str
    wants: str
    shows_mode: str = ""
    wants_mode: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotTaken(Happening):
    """A contact ended without a capture: the person must not walk on."""

    source: str
    lasted_s: float
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LivePoint(Happening):
    """Volts above the limit at points that should be dead: the proof starts over, none before it counts.

    `value` is V, a lower bound where the display was over its range; `shown` what the display showed.
    """

    source: str
    value: float
    shown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactSaid(Happening):
    """A person said that the tips are on the points; `shown` is what the display showed at that moment."""

    source: str
    shown: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Advised(Happening):
    """It does not go on by itself: what to do now."""

    source: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Frozen(Happening):
    """The display holds: nothing is taken until HOLD is gone and the leads were apart."""

    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifted(Happening):
    """The leads left the points that were captured."""

    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed(Happening):
    """A step was left without a capture: "looked", "found wanting", "skipped", "computed", "not proved" and so on."""

    how: str
    reason: str = ""
    who: str = ""
    captures: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted(Happening):
    """A note, in the person's words."""

    text: str
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused(Happening):
    """An act that does not fit; `why` is one plain sentence that says what would."""

    word: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobDone(Happening):
    """No step is left unanswered."""
