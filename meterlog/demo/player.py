"""Plays recordings into pseudo-terminals at their pace, and does what the person did.

The daemon on the other side opens the terminals through pyserial as it would open hardware.
"""

from __future__ import annotations

import contextlib
import os
import pty
import time
import tty
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.daemon import client
from meterlog.daemon.client import ask
from meterlog.walk import parse_act

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from meterlog.base.recording import Event

ACCEPTED_WITHIN_S = 5.0
"""How long the person waits for the bench to be ready for what they do, s of real time."""


class LostPace(CannotDo):
    """The machine stalled, and for the bench that stood still for longer than a person would: play it slower."""


class Terminal:
    """One end of a pseudo-terminal: what is written here arrives at `path`."""

    def __init__(self) -> None:
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.path = os.ttyname(self._theirs)

    def write(self, data: bytes) -> None:
        os.write(self._ours, data)

    def close(self) -> None:
        for end in (self._ours, self._theirs):
            with contextlib.suppress(OSError):
                os.close(end)


def play(
    events: Sequence[tuple[float, str, Event]], terminals: dict[str, Terminal], database: Path, speed: float
) -> None:
    """Play a job's events, `speed` times faster than they happened.

    When the bench was not ready for an act and the person had to wait, all that follows waits too.

    Raises: LostPace, when the bench does not take an act: what follows would answer other steps than it did.
    """
    began = time.monotonic()
    late = 0.0
    for at, source, event in events:
        due = began + late + at / speed
        time.sleep(max(0.0, due - time.monotonic()))
        if event.kind == "in":
            terminals[source].write(event.data)
        elif event.kind == "act":
            before = time.monotonic()
            _do(event.word, database, speed)
            late += time.monotonic() - before


def _do(words: str, database: Path, speed: float) -> None:
    """Do what the person did; once more, for a while, when the bench is not ready for it yet."""
    act = parse_act(words)
    deadline = time.monotonic() + ACCEPTED_WITHIN_S
    while True:
        try:
            walk = ask(database, "status")["status"]["walk"]
            client.act(database, walk, act.word, to=act.to, text=act.text, who="repairer (invented)")
        except CannotDo as refused:
            if time.monotonic() > deadline:
                raise LostPace(
                    f"the demo lost its pace, as on a busy machine: {words!r} was not taken. {refused}",
                    f"play it slower: meterlog demo --speed {max(1.0, speed / 2):g}",
                ) from None
            time.sleep(0.02)
        else:
            return
