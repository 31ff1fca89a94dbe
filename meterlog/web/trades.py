"""The procedures that a new job can follow: those that come with meterlog."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from meterlog.files import shipped as files
from meterlog.procedure.language import read_procedure

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure

KIND = "profiles/procedures"


@cache
def shipped() -> list[tuple[str, str]]:
    """Key and title of each shipped procedure, by title."""
    found = ((key, procedure(key)) for key in files.names(KIND))
    return sorted(((key, known.title) for key, known in found if known), key=lambda pair: pair[1])


@cache
def procedure(key: str) -> Procedure | None:
    """A shipped procedure by its key; None when there is none: a path from a browser is never opened."""
    if key not in files.names(KIND):
        return None
    return read_procedure(files.text_of(files.folder(KIND) / f"{key}.yaml"), key)
