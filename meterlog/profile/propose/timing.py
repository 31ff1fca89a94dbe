"""Which frames a note may be of: its own moment's, and how long the display had to stand still for it to count.

A person's key press and a frame's last byte are never quite the same moment. Where the figures of two notes go with
one frame each and with neither neighbour, the notes are timed to the frame; else a note counts only where what it says
of the state holds for all frames around it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.states import StateMeaning

LATE_S = 0.03
"""How much later than the display a frame's last byte may be stamped, s."""

AROUND = 3
"""Frames on both sides in which a loosely timed note may find its digits."""

_STILL = 2
"""Frames on both sides that must be of one state before a loosely timed note is believed."""

_TELLING = 2
"""Notes that must fit their own frame and no neighbour before the notes are timed to the frame."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotedState:
    """What a note says of the state of a frame, which holds if all frames of `still` are of one state."""

    note: DisplayNote
    meaning: StateMeaning
    index: int
    still: range


def own_index(times: Sequence[float], note: DisplayNote) -> int:
    """The index of the last frame by a note's moment; -1 where none was there yet."""
    return bisect_right(times, note.at + LATE_S) - 1


def near(times: Sequence[float], note: DisplayNote, around: int) -> range:
    """The frames that a note may be of: by its own uncertainty, and `around` more on both sides of its moment."""
    index = max(0, own_index(times, note))
    first = min(index - around, bisect_right(times, note.at - note.within_s + LATE_S) - 1)
    last = max(index + around, bisect_left(times, note.at + note.within_s) - 1)
    return range(max(0, first), min(len(times), last + 1))


def nearest(candidates: range, index: int, gives: Callable[[int], bool]) -> int | None:
    """The candidate nearest to an index that gives what was noted; None where none does."""
    return min(filter(gives, candidates), key=lambda i: abs(i - index), default=None)


def are_timed(
    times: Sequence[float], noted: Sequence[tuple[DisplayNote, int]], gives: Callable[[int, DisplayNote], bool]
) -> bool:
    """Whether notes are timed to the frame: two at least fit neither the frame before theirs nor the one behind."""
    telling = 0
    for note, index in noted:
        is_sharp = not note.within_s and index == own_index(times, note)
        neighbours = [i for i in (index - 1, index + 1) if 0 <= i < len(times)]
        telling += is_sharp and not any(gives(i, note) for i in neighbours)
    return telling >= _TELLING


def still(times: Sequence[float], note: DisplayNote, index: int, *, is_timed: bool) -> range:
    """The frames that must all be of one state for a note to count for frame `index`."""
    if is_timed and not note.within_s:
        return range(index, index + 1)
    window = near(times, note, 0)
    return range(max(0, min(index - _STILL, window.start)), min(len(times), max(index + _STILL + 1, window.stop)))
