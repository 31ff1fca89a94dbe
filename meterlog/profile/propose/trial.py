"""A proposed profile, tried on the recording that it was learned from: it must say what every note says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongText
from meterlog.base.readings import Frame, Skipped
from meterlog.conversation.drive import drive
from meterlog.profile.compile.compiler import compile_profile
from meterlog.profile.compile.examples import shown as in_words
from meterlog.profile.propose.states import Contradiction
from meterlog.profile.propose.timing import LATE_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import Reading
    from meterlog.base.recording import Event
    from meterlog.profile.propose.notes import DisplayNote

WITHIN_S = 1.5
"""How far from its moment a note's reading may be, s."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedFrame:
    """A note's own frame as the profile reads it: its bytes, what was asked before, and the reading in words."""

    raw: bytes
    asked: bytes
    shows: str


def tried(profile: str, name: str, events: Sequence[Event], notes: Sequence[DisplayNote]) -> list[TriedFrame]:
    """What a profile gives at the notes' timing.

    Raises: Contradiction, where it gives something else than a note says, or is no profile.
    """
    try:
        compiled = compile_profile(profile, f"{name}.yaml")
    except WrongText as error:
        raise Contradiction(f"the proposal could not be written as a profile: {error}", []) from None
    timeline = [event for event in events if event.kind in ("in", "out")]
    outcomes = [outcome for outcome in drive(compiled.conversation(), timeline) if not isinstance(outcome, Skipped)]
    shown = []
    for note in notes:
        near = [outcome for outcome in outcomes if abs(outcome.at - note.at) <= WITHIN_S]
        own = max((o for o in near if o.at <= note.at + LATE_S), key=lambda o: o.at, default=None)
        if not isinstance(own, Frame):
            continue
        given = [(o, r) for o in near if isinstance(o, Frame) for r in o.readings if is_what_was_noted(r, note)]
        if not given:
            raise Contradiction(f"the proposal does not give what was noted ({note.typed})", [note.at])
        frame, reading = min(given, key=lambda pair: abs(pair[0].at - own.at))
        asked = [event.data for event in timeline if event.kind == "out" and event.at <= frame.at]
        shown.append(TriedFrame(raw=frame.raw, asked=asked[-1] if asked else b"", shows=in_words(reading)))
    if not shown:
        raise Contradiction("the proposal reads no frame that a note is of", [note.at for note in notes])
    return shown


def is_what_was_noted(reading: Reading, note: DisplayNote) -> bool:
    """Whether a reading is a note's: figures, point, sign, unit and mode."""
    if note.is_over:
        return reading.form.bound is not None
    counts = -(note.counts or 0) if note.negative else note.counts
    same = reading.counts == counts and reading.form.decimals == note.decimals and reading.form.bound is None
    return (
        same and (not note.unit or reading.form.unit == note.unit) and (not note.mode or reading.form.mode == note.mode)
    )
