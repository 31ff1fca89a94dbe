"""A procedure by its path or by the name of a shipped one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.files.shipped import find, text_of
from meterlog.procedure.language import read_procedure

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure


def procedure_of(reference: str) -> Procedure:
    """The procedure of a user's file or of a shipped name. Raises: CannotDo when there is none; WrongText."""
    path = find(reference, "profiles/procedures")
    return read_procedure(text_of(path), str(path))
