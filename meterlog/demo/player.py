"""Plays recordings into pseudo-terminals by a clock of their own, and does what the person did.

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
from meterlog.daemon.client import status_of
from meterlog.daemon.clock import LOOK_AGAIN_S
from meterlog.walk import parse_act

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from meterlog.base.recording import Event
    from meterlog.daemon.clock import Moment

ANSWERS_WITHIN_S = 60.0
"""How long a machine may take for what is played to it, real s: only a recording that does not fit takes longer."""

TRIES = 3
"""How often an act is tried that comes between two states of the bench."""

STEP_S = 0.25
"""How far the clock goes in one go, s: what is due meanwhile is done about when it is due."""


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


class Player:
    """Plays jobs to a daemon whose clock it moves on, at most `speed` times as fast as they happened.

    The clock stands still until the daemon has taken what came, so a slow machine plays slowly, and nothing else.
    """

    def __init__(self, terminals: dict[str, Terminal], moment: Moment, database: Path, speed: float) -> None:
        self._terminals, self._moment, self._database, self._speed = terminals, moment, database, speed

    def play(self, events: Sequence[tuple[float, str, Event]]) -> None:
        """Play a job's events from now on. Raises: CannotDo, when the bench does not take one of them."""
        began = self._moment.at
        for at, source, event in events:
            self.wait_until(began + at)
            if event.kind == "in":
                self._terminals[source].write(event.data)
                self._await_heard(source)
            elif event.kind == "act":
                self._do(event.word)

    def wait_until(self, at: float) -> None:
        """Let the clock go on to a moment, s of UTC."""
        while (left := at - self._moment.at) > 0:
            step = min(left, STEP_S)
            time.sleep(step / self._speed)
            self._moment.move_to(at if step == left else self._moment.at + step)

    def _await_heard(self, source: str) -> None:
        """Until the daemon has taken what was written now."""
        now_ms = round(self._moment.at * 1000)
        deadline = time.monotonic() + ANSWERS_WITHIN_S
        while self._heard_ms(source) < now_ms:
            if time.monotonic() > deadline:
                raise CannotDo(
                    f"what {source} showed was played, and no reading came of it", "see the log beside the database"
                )
            time.sleep(0.001)

    def _heard_ms(self, source: str) -> int:
        return next(link.utc_ms for link in status_of(self._database).links if link.link == source)

    def _do(self, words: str) -> None:
        """Do what the person did; once more, for a while, where it came between two states of the bench."""
        act = parse_act(words)
        for tries_left in reversed(range(TRIES)):
            try:
                walk = status_of(self._database).walk
                if walk is None:
                    raise CannotDo("no job is at hand", "")
                client.act(self._database, walk, act.word, to=act.to, text=act.text, who="repairer (invented)")
            except CannotDo as refused:
                if not tries_left:
                    raise CannotDo(f"{words!r} was played, and not taken: {refused}") from None
                time.sleep(LOOK_AGAIN_S)
            else:
                return
