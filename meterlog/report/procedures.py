"""Kept procedure texts as procedures again: read once each, by their hash."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongText
from meterlog.procedure.language import read_kept_procedure

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure, Step


@lru_cache(maxsize=64)
def read(sha256: str, text: str) -> Procedure | None:
    """The procedure of a kept text; None when this program can't read it any more."""
    try:
        return read_kept_procedure(text, sha256[:12])
    except WrongText:
        return None


def step(procedure: Procedure | None, key: str) -> Step | None:
    """A step as it was written; None where the text can't be read."""
    try:
        return procedure.step(key) if procedure else None
    except KeyError:
        return None


def first_counts(procedure: Procedure | None, key: str) -> bool:
    """Whether the first of several captures counts for a step, by the procedure."""
    written = step(procedure, key)
    return written is not None and written.counts == "first"
