"""The states of a link, and how long to wait before trying again."""

from __future__ import annotations

from enum import StrEnum


class LinkState(StrEnum):
    """Where a link stands."""

    OPENING = "opening"
    LISTENING = "listening"
    SILENT = "silent"  # open, nothing heard for the profile's time
    WAITING = "waiting"  # lost; opened again after next_wait_s(failures)
    GIVEN_UP = "given up"  # cannot succeed until a person acts


_WAITS_S = (0.5, 1.0, 2.0, 5.0, 10.0)


def next_wait_s(failures: int) -> float:
    """Seconds before a lost link is tried again, after so many failures in a row (from 1).

    >>> [next_wait_s(n) for n in (1, 3, 99)]
    [0.5, 2.0, 10.0]
    """
    return _WAITS_S[min(failures, len(_WAITS_S)) - 1]
