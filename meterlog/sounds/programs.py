"""Programs of this machine that speak and that play a sound file. There may be none."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

TEXT, FILE, LANGUAGE = "{text}", "{file}", "{language}"
VOICES: tuple[tuple[str, ...], ...] = (
    ("espeak-ng", "-v", LANGUAGE, "--", TEXT),
    ("espeak", "-v", LANGUAGE, "--", TEXT),
    ("spd-say", "--wait", "-l", LANGUAGE, "--", TEXT),
    ("say", "--", TEXT),
)
PLAYERS: tuple[tuple[str, ...], ...] = (
    ("pw-play", FILE),
    ("paplay", FILE),
    ("aplay", "-q", FILE),
    ("afplay", FILE),
)


def first_of(programs: Sequence[tuple[str, ...]], which: Callable[[str], str | None] = shutil.which) -> tuple[str, ...]:
    """The first program that this machine has, with its arguments; empty when it has none."""
    for program in programs:
        path = which(program[0])
        if path is not None:
            return (path, *program[1:])
    return ()


def command(program: tuple[str, ...], **parts: str) -> list[str]:
    """What to run, with text, file and language put in."""
    return [program[0], *(argument.format(**parts) for argument in program[1:])]
