"""A lesson: an instrument that sends, a person who notes its display, and the profile that grows from both.

Pure: what came, and when, is handed in. The command and the page ask the same lesson, so that they say the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.readings import Frame, Rejected
from meterlog.base.recording import Event
from meterlog.conversation.drive import advance
from meterlog.profile.compile.compiler import compile_profile
from meterlog.profile.compile.examples import shown
from meterlog.profile.propose.propose import propose

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import StreamOutcome
    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.proposal import Proposal

SILENT_AFTER_S = 3.0
"""How long nothing may come before what was read last is no longer what the display shows."""

IN_A_ROW = 2
"""Frames that must be rejected one after the other before they are a state, and not a damaged frame."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a lesson stands at a moment.

    Attributes:
        shows: the last frame as the proposed profile reads it; "" where it does not, or nothing came for a while.
        asks: what the person is asked to do next, in a sentence.
        is_new: whether the display shows a state that no note has shown.
        frames, unknown: frames read since the lesson began, and those of them in states that no note has shown.
    """

    shows: str
    asks: str
    is_new: bool
    frames: int
    unknown: int


class Lesson:
    """The bytes and the notes of one instrument, and what they tell; `name` becomes the profile's key."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._events: list[Event] = []
        self._notes: tuple[DisplayNote, ...] = ()
        self._proposed_at = 0
        self._made = propose((), (), name)
        self._reread = _Reread("", name, ())

    @property
    def notes(self) -> tuple[DisplayNote, ...]:
        return self._notes

    @property
    def proposal(self) -> Proposal:
        return self._made

    def hear(self, events: Sequence[Event]) -> None:
        """What came since the last time. How frames are cut is looked for again while it is not known."""
        self._events += events
        self._reread.hear(events)
        if self._made.framing is None and len(self._events) > 1.25 * self._proposed_at:
            self._propose(self._notes)

    def note(self, note: DisplayNote) -> str:
        """Add a note; answers "" when it was taken, else why it was left out: it does not go with the others."""
        if any((each.at, each.typed) == (note.at, note.typed) for each in self._notes):
            return ""
        before, had = self._notes, bool(self._made.profile)
        self._propose((*before, note))
        if had and not self._made.profile:
            why = self._made.why
            self._propose(before)
            if self._made.profile:
                return f"left out, it does not go with the others: {note.typed} ({why})"
            self._propose((*before, note))
        return ""

    def take_out(self, at: float) -> None:
        """Take out the notes of a moment, s."""
        self._propose(tuple(note for note in self._notes if note.at != at))

    def concluded(self) -> Proposal:
        """The proposal from all that came."""
        self._propose(self._notes)
        return self._made

    def standing(self, now: float) -> Standing:
        """Where it stands at a moment, s since the lesson began; all that came by then was handed in."""
        self._reread.wait(now)
        last, reread = (self._events[-1].at if self._events else None), self._reread
        is_silent = last is None or now - last > SILENT_AFTER_S
        is_new = bool(self._made.profile) and not is_silent and reread.rejected_in_a_row >= IN_A_ROW
        return Standing(
            shows="" if is_silent or reread.rejected_in_a_row else reread.shows,
            asks=_silence(last, now) if is_silent else _asks(self._made, self._notes, reread.unknown, is_new=is_new),
            is_new=is_new,
            frames=reread.frames,
            unknown=reread.unknown,
        )

    def _propose(self, notes: Sequence[DisplayNote]) -> None:
        self._notes = tuple(sorted(notes, key=lambda note: note.at))
        self._proposed_at = len(self._events)
        self._made = propose(self._events, self._notes, self._name)
        self._reread = _Reread(self._made.profile, self._name, self._events)


class _Reread:
    """All frames of a lesson, read by what is known so far."""

    def __init__(self, profile: str, name: str, events: Sequence[Event]) -> None:
        self._conversation = compile_profile(profile, f"{name}.yaml").conversation() if profile else None
        self.frames = self.unknown = self.rejected_in_a_row = 0
        self.shows = ""
        self.hear(events)

    def hear(self, events: Sequence[Event]) -> None:
        if self._conversation is not None:
            for event in events:
                for outcome in advance(self._conversation, event):
                    self._count(outcome)

    def wait(self, at: float) -> None:
        """Let time pass: a pause may end a frame."""
        self.hear([Event(at, "in")])

    def _count(self, outcome: StreamOutcome) -> None:
        if isinstance(outcome, Frame):
            self.shows = "; ".join(shown(reading) for reading in outcome.readings)
            self.rejected_in_a_row = 0
        elif isinstance(outcome, Rejected):
            self.rejected_in_a_row += 1
            if self.rejected_in_a_row >= IN_A_ROW:
                self.unknown += IN_A_ROW if self.rejected_in_a_row == IN_A_ROW else 1
        else:
            return
        self.frames += 1


def _silence(last: float | None, now: float) -> str:
    if last is None:
        return "Nothing has come yet: is the instrument on, and its output too?"
    return f"Nothing has come for {now - last:.0f} s: is the instrument on, and its output too?"


def _asks(made: Proposal, notes: Sequence[DisplayNote], unknown: int, *, is_new: bool) -> str:
    if made.framing is None:
        return f"Listening: {made.why}."
    if not notes:
        return "What does the display show? Let it stand still."
    if not made.profile:
        return f"Not enough yet: {made.why}."
    if is_new:
        return "The display shows a state that I have not seen: what does it say?"
    if unknown:
        return f"This state is known. {unknown} frames before were in states that are not: turn back to them, or go on."
    return f"All {len(made.states_known)} states that were seen are known: turn the dial, or save."
