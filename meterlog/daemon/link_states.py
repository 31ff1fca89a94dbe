"""The states of a link, when it counts as silent and a reading as old, and how long to wait before trying again."""

from __future__ import annotations

from collections import deque
from enum import StrEnum
from typing import NamedTuple


class LinkState(StrEnum):
    """Where a link stands."""

    OPENING = "opening"
    LISTENING = "listening"
    SILENT = "silent"  # open, nothing heard for Pace.silent_after_s
    NOT_UNDERSTOOD = "not understood"  # bytes come, and none of them is a message
    WAITING = "waiting"  # lost; opened again after next_wait_s(failures)
    GIVEN_UP = "given up"  # cannot succeed until a person acts


_WAITS_S = (0.5, 1.0, 2.0, 5.0, 10.0)


def next_wait_s(failures: int) -> float:
    """Seconds before a lost link is tried again, after so many failures in a row (from 1).

    >>> [next_wait_s(n) for n in (1, 3, 99)]
    [0.5, 2.0, 10.0]
    """
    return _WAITS_S[min(failures, len(_WAITS_S)) - 1]


SILENT_LEAST_S = 5.0
STALE_LEAST_S = 2.0
"""No reading counts as old before: the slowest hand meters show one or two a second."""
PAUSES = 20
"""Pauses remembered: enough that one switched-off minute among them is no habit."""


class MessagePace:
    """How long an instrument is usually quiet between two messages, learned from the last pauses.

    >>> pace = MessagePace()
    >>> for pause in (10.0, 10.0, 10.0, 600.0): pace.heard_after(pause)
    >>> pace.silent_after_s
    30.0
    """

    def __init__(self) -> None:
        self._pauses: deque[float] = deque([0.0, 0.0], maxlen=PAUSES)

    def heard_after(self, pause_s: float) -> None:
        self._pauses.append(pause_s)

    @property
    def silent_after_s(self) -> float:
        """Three times the second longest of the last pauses, 5 s at least."""
        return max(SILENT_LEAST_S, 3 * sorted(self._pauses)[-2])

    @property
    def stale_after_s(self) -> float:
        """The same, 2 s at least: an older reading is no longer what the display shows."""
        return max(STALE_LEAST_S, 3 * sorted(self._pauses)[-2])


class LinkStanding(NamedTuple):
    """What an open link is, why, and what to do."""

    state: LinkState
    why: str = ""
    hint: str = ""


def link_standing(pace: MessagePace, *, understood_s: float, heard_s: float, reason: str) -> LinkStanding:
    """How an open link stands, by what was understood of it: bytes that nothing can be made of are not listened to.

    Args:
        understood_s, heard_s: s since its last message that was understood, and since its last bytes; since it was
            opened, where there was none.
        reason: why its last bytes were no message.
    """
    if understood_s <= pace.silent_after_s:
        return LinkStanding(LinkState.LISTENING)
    if heard_s <= pace.silent_after_s:
        why = f"bytes come, and none of them is a reading: {reason or 'no message is found in them'}"
        return LinkStanding(LinkState.NOT_UNDERSTOOD, why, "is it the right profile, and the right baud rate?")
    return LinkStanding(
        LinkState.SILENT, f"nothing heard for {pace.silent_after_s:.0f} s", "is it switched on, and its output too?"
    )
