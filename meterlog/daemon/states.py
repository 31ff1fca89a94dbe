"""The states of a link, when it counts as silent, and how long to wait before trying again."""

from __future__ import annotations

from collections import deque
from enum import StrEnum


class LinkState(StrEnum):
    """Where a link stands."""

    OPENING = "opening"
    LISTENING = "listening"
    SILENT = "silent"  # open, nothing heard for Pace.silent_after_s
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
PAUSES = 20
"""Pauses remembered: enough that one switched-off minute among them is no habit."""


class Pace:
    """How long an instrument is usually quiet between two pieces, learned from the last pauses.

    >>> pace = Pace()
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
