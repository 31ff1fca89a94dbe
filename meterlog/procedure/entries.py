"""What is entered for a job, as a procedure wants it: from the rating plate, and asked of the person."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.base.units import QUANTITIES, parse
from meterlog.judging.written import with_unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.procedure.steps import Procedure

MORE_THAN_NOTHING = frozenset({"power", "mass"})
"""Kinds of entries of which zero or less is a slip of the hand."""

WORDS = "words"
"""The kind of an entry that is no quantity, such as a vessel: "340 g glass"."""


def title_of(kind: str) -> str:
    """The kind of an entry or a step in words."""
    return QUANTITIES[kind].title if kind in QUANTITIES else "text"


def entry_value(text: str, kind: str) -> float | None:
    """The SI value of an entry, the middle of "1000 g ± 2 g"; None when it is words.

    Raises: WrongValue, when it is no quantity of that kind.
    """
    if kind == WORDS:
        return None
    si = QUANTITIES[kind].si
    return parse(with_unit(text.partition("±")[0], si), si)


def entry_values(kinds: Mapping[str, str], texts: Mapping[str, str]) -> dict[str, float]:
    """The SI values by name of the entries that are quantities; one that cannot be read counts as not entered."""
    values: dict[str, float] = {}
    for name, kind in kinds.items():
        with suppress(WrongValue):
            value = entry_value(texts.get(name, ""), kind)
            if value is not None:
                values[name] = value
    return values


def check_entries(procedure: Procedure, texts: Mapping[str, str]) -> None:
    """Raises: WrongValue for an entry that the procedure does not want, or that cannot be read."""
    for name, text in texts.items():
        if name not in procedure.entries:
            raise WrongValue(f"{procedure.key} asks for no {name!r}\n  {near_miss(name, procedure.entries)}".rstrip())
        try:
            value = entry_value(text, procedure.entries[name])
        except WrongValue as error:
            raise WrongValue(f"{name}: {error}") from None
        if value is not None and value <= 0 and procedure.entries[name] in MORE_THAN_NOTHING:
            raise WrongValue(f"{name}: write more than nothing, not {text!r}")
