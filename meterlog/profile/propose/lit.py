"""Frames that hold a display as it lights: from the notes to its figures, its lamps as states, and their lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.profile.propose import binary, timing
from meterlog.profile.propose.framing import NUMBERED
from meterlog.profile.propose.segments import Display, find_display
from meterlog.profile.propose.states import Contradiction, KnownStates, StateMeaning, code_of, learn_states
from meterlog.profile.propose.tables import state_lines
from meterlog.profile.propose.timing import NotedState

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.notes import DisplayNote


def propose_segments(framing: Framing, size: int, notes: Sequence[DisplayNote]) -> tuple[Display, KnownStates]:
    """The display and the states of frames of one length, `size` bytes of check before their end mark.

    Raises: Contradiction.
    """
    frames = framing.frames
    length = len(frames[0].data)
    if any(len(frame.data) != length for frame in frames):
        raise Contradiction("frames of several lengths hold no display that is sent as it lights", [])
    times = [frame.at for frame in frames]
    own = [max(0, timing.own_index(times, note)) for note in notes]
    numeric = [(note, i) for note, i in zip(notes, own, strict=True) if not note.is_over]
    end = length - framing.end - size
    display = find_display(
        [(note, frames[i].data) for note, i in numeric], [frame.data for frame in frames], framing.start, end
    )
    if display is None:
        raise Contradiction(binary.unexplained([note for note, _ in numeric]), [])
    shows = [display.value(frame.data) for frame in frames]
    of_note = dict(numeric)
    is_timed = timing.are_timed(times, numeric, lambda i, note: shows[i] == shows[of_note[note]])
    noted = []
    for note, index in zip(notes, own, strict=True):
        meaning = StateMeaning(
            facts=note.meaning,
            decimals=None if display.points or note.is_over else note.decimals,
            is_negative=note.negative,
            is_over=False,
            learned_at=(note.at,),
        )
        still = timing.still(times, note, index, is_timed=is_timed)
        noted.append(NotedState(note=note, meaning=meaning, index=index, still=still))
    taken = display.own
    if framing.kind == NUMBERED:  # the numbers of the bytes are held by the framing already
        taken = {byte: 0xF0 | taken.get(byte, 0) for byte in range(length)}
    return display, learn_states(frames, range(framing.start, end), taken, display.value, noted, over_by_bytes=False)


def display_lines(display: Display, states: KnownStates, *, with_over: bool) -> list[str]:
    """The fields and readings of a profile."""
    over = ["    special: {0L: overload, L: overload}"] if with_over else []
    return [*state_lines(states, states.known, [*display.lines(), *over]), "readings:", "  - {value: display}"]


def unknown_displays(
    display: Display, states: KnownStates, frames: Sequence[CutFrame], *, with_over: bool
) -> list[tuple[float, Hashable]]:
    """The frames of states that no note has shown, or whose figures are no number: when, s, and what parts them."""
    unknown: list[tuple[float, Hashable]] = []
    for frame in frames:
        code, shown = code_of(frame.data, states.places), display.shows(frame.data)
        is_word = shown is None or (not with_over and not shown.replace(" ", "").isdigit())
        if is_word or code not in states.known:
            unknown.append((frame.at, (code, is_word)))
    return unknown
