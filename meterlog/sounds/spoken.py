"""The bench's voice: a tone and a sentence for what happened, in order, on a thread of its own.

Whoever calls is never kept waiting: when more is to be said than can be, the oldest is left out.
A program that is missing, fails or hangs is no error: the bench is then silent.
"""

from __future__ import annotations

import contextlib
import subprocess
import tempfile
from collections import deque
from pathlib import Path
from threading import Condition, Thread
from typing import TYPE_CHECKING

from meterlog.sounds.programs import PLAYERS, VOICES, command, first_of
from meterlog.sounds.sentences import catalogue
from meterlog.sounds.tones import TONES, wav
from meterlog.walk import happenings as told
from meterlog.walk.session import Judged

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure
    from meterlog.walk.session import SessionEvent

WAITING = 6
"""Sounds that may wait to be heard."""
LONGEST_S = 20.0
"""No tone and no sentence takes longer: a program that does is stopped."""


def tone_of(event: SessionEvent) -> str:
    """The name of the tone that an event has, "" where it has none."""
    match event:
        case told.Captured():
            return "captured"
        case Judged(verdict=verdict):
            return verdict.outcome if verdict.outcome in TONES else ""
        case told.WrongFunction():
            return "wrong function"
        case told.NotTaken():
            return "not taken"
        case told.LivePoint():
            return "live point"
        case told.Proof():
            return "go on"
        case told.ContactSaid():
            return "said"
        case told.Advised():
            return "advice"
        case told.Frozen():
            return "frozen"
    return ""


class Sounds:
    """Says events aloud. Empty programs leave out tones, sentences, or both."""

    def __init__(self, *, voice: tuple[str, ...] = (), player: tuple[str, ...] = (), language: str = "en") -> None:
        self._voice, self._player, self._language = voice, player, language
        self._catalogue = catalogue(language)
        self._waiting: deque[tuple[str, str]] = deque(maxlen=WAITING)
        self._changed = Condition()
        self._closing = False
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._thread: Thread | None = None

    @property
    def can_be_heard(self) -> bool:
        return bool(self._voice or self._player)

    def event(self, event: SessionEvent, procedure: Procedure) -> None:
        """Say an event of a procedure's walk; a live point before all that waits to be said."""
        if isinstance(event, told.LivePoint):
            with self._changed:
                self._waiting.clear()
        self._add(tone_of(event), self._catalogue.say(event, procedure))

    def asked(self, awaited: str) -> None:
        """Say what a phase, or a stage of a heating run, waits for, and what a press means."""
        self._add("", self._catalogue.asked(awaited))

    def lost(self, source: str) -> None:
        """Say that an instrument is silent."""
        self._add("lost link", self._catalogue.sentence("lost link", source=source))

    def close(self, wait_s: float | None = 2.0) -> None:
        """Say what waits, as far as there is time for it, and end; None: all of it."""
        with self._changed:
            self._closing = True
            self._changed.notify()
        if self._thread is not None:
            self._thread.join(wait_s)
        if self._folder is not None:
            self._folder.cleanup()

    def _add(self, tone: str, sentence: str) -> None:
        if not self.can_be_heard or not (tone or sentence):
            return
        with self._changed:
            self._waiting.append((tone, sentence))
            self._changed.notify()
            if self._thread is None:
                self._thread = Thread(target=self._run, name="sounds", daemon=True)
                self._thread.start()

    def _run(self) -> None:
        while True:
            with self._changed:
                while not self._waiting and not self._closing:
                    self._changed.wait()
                if not self._waiting:
                    return
                tone, sentence = self._waiting.popleft()
            if tone and self._player:
                _run(command(self._player, file=self._file(tone)))
            if sentence and self._voice:
                _run(command(self._voice, text=sentence, language=self._language))

    def _file(self, tone: str) -> str:
        """The tone's file, written on first use."""
        self._folder = self._folder or tempfile.TemporaryDirectory(prefix="meterlog-tones-")
        path = Path(self._folder.name) / f"{tone.replace(' ', '-')}.wav"
        if not path.exists():
            path.write_bytes(wav(tone))
        return str(path)


def of_this_machine(*, speech: bool = True, tones: bool = True, language: str = "en") -> Sounds:
    """Sounds with the programs that this machine has; silent where it has none."""
    voice = first_of(VOICES) if speech else ()
    return Sounds(voice=voice, player=first_of(PLAYERS) if tones else (), language=language)


def _run(arguments: list[str]) -> None:
    with contextlib.suppress(OSError, subprocess.TimeoutExpired):
        subprocess.run(
            arguments,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=LONGEST_S,
            check=False,
        )
