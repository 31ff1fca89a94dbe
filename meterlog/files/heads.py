"""The heads that this user's sheets printed, kept outside the database: what a record is held against unasked.

One file a bench's identity beside its key, a line for each head. Whoever can write that file can take lines out of it:
paper in other hands binds, this reminds.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from meterlog.files import places

if TYPE_CHECKING:
    from pathlib import Path


def path_of(bench: str) -> Path:
    """Where the heads of a bench's identity are kept."""
    return places.keys() / f"{bench}.heads"


def remember(bench: str, line: str) -> None:
    """Keep the line of a head that is printed, once; nothing where it can't be written: the sheet has it."""
    if line in printed(bench):
        return
    with contextlib.suppress(OSError):
        path_of(bench).parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with open(path_of(bench), "a", encoding="utf-8") as out:
            out.write(line + "\n")


def printed(bench: str) -> list[str]:
    """The lines kept of a bench's identity, oldest first."""
    try:
        return path_of(bench).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return []
