"""Kept procedure texts as procedures again: read once each, by their hash."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongText
from meterlog.procedure.language import read_kept_procedure

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.record.reader import RecordReader


def of(reader: RecordReader, sha256: str) -> Procedure | None:
    """The procedure of a kept text; None when it is not there, or this program can't read it any more."""
    kept = reader.text(sha256)
    return _read(sha256, kept.body) if kept else None


@lru_cache(maxsize=64)
def _read(sha256: str, text: str) -> Procedure | None:
    try:
        return read_kept_procedure(text, sha256[:12])
    except WrongText:
        return None


def written_step(procedure: Procedure | None, key: str) -> Step | None:
    """A step as it was written; None where the text can't be read."""
    try:
        return procedure.step(key) if procedure else None
    except KeyError:
        return None
