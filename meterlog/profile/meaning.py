"""From the codes of a frame to the form of a reading: the part that need not be fast.

The generated decoder keeps every form that it has met under the key of the codes that chose it;
only a key that it has not met comes here, is looked up in the profile's tables and put together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile.facts import Facts, form_of, merge
from meterlog.readings import Bound, Form

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

KEPT_FORMS = 4096
"""Forms kept for one reading of a profile; when there are more, the lot is forgotten."""

Entry = tuple[Form | None, int | None, Form | None]
"""A form, what the counts are multiplied by (None: no digits), and the form of a zero with a minus.
The form is None where the codes say that there is no reading."""

NOTHING: Entry = (None, None, None)


@dataclass(frozen=True, slots=True)
class Fixed:
    """Facts that hold whatever the frame says. Takes no code."""

    who: str
    facts: Facts


@dataclass(frozen=True, slots=True)
class Table:
    """A field's codes and what they mean; `under` nests it below another field's codes."""

    who: str
    rows: Mapping[object, Facts]

    def look_up(self, code: object) -> list[tuple[str, Facts]] | str:
        facts = self.rows.get(code)
        return [(self.who, facts)] if facts is not None else f"{self.who}: no meaning for {shown(code)}"


@dataclass(frozen=True, slots=True)
class Lamps:
    """Single bits with a meaning each; the code is the number that holds them all."""

    rows: tuple[tuple[str, int, Facts], ...]

    def look_up(self, code: object) -> list[tuple[str, Facts]] | str:
        assert isinstance(code, int)
        return [(who, facts) for who, mask, facts in self.rows if code & mask]


Source = Table | Lamps


def shown(code: object) -> str:
    """A code as a manual would print it."""
    if isinstance(code, tuple):
        return " with ".join(map(shown, code))
    if isinstance(code, bytes):
        return repr(code.decode("latin-1"))
    return f"0x{code:02X}" if isinstance(code, int) and code >= 0 else repr(code)


class Former:
    """Finds and keeps the entries of one reading.

    A key is (decimals or None, width, zero with a minus, special word or None, code of each source …).
    """

    def __init__(
        self,
        fixed: tuple[Fixed, ...],
        special: Table | None,
        sources: tuple[Source, ...],
        find: Callable[..., object] = dict,
    ) -> None:
        self.fixed = [(part.who, part.facts) for part in fixed]
        self.special = special
        self.sources = sources
        self.kept: dict[tuple[object, ...], Entry] = {}

    def make(self, key: tuple[object, ...]) -> Entry | str:
        """The entry of a key, kept from now on; or the reason why the frame is not believed."""
        entry = self._entry(key)
        if isinstance(entry, tuple):
            if len(self.kept) >= KEPT_FORMS:
                self.kept.clear()
            self.kept[key] = entry
        return entry

    def facts(self, key: tuple[object, ...]) -> Facts | str:
        """All that the codes of a key say, put together."""
        special, codes = key[3], key[4:]
        said = list(self.fixed)
        if special is not None:
            assert self.special is not None
            found = self.special.look_up(special)
            if isinstance(found, str):
                return found
            said += found
        for source, code in zip(self.sources, codes, strict=True):
            found = source.look_up(code)
            if isinstance(found, str):
                return found
            said += found
        return merge(said)

    def _entry(self, key: tuple[object, ...]) -> Entry | str:
        facts = self.facts(key)
        if isinstance(facts, str):
            return facts
        if facts.reject:
            return facts.reject
        if facts.nothing:
            return NOTHING
        decimals, width, minus_zero, special = key[:4]
        assert isinstance(width, int)
        own = decimals if isinstance(decimals, int) and decimals != 0 else facts.decimals or 0
        shown = form_of(facts, own, width)
        if isinstance(shown, str):
            return shown
        form = replace(shown.form, negative_zero=True) if minus_zero else shown.form
        has_digits = special is None and facts.bound not in (Bound.OVERLOAD, Bound.OPEN_SENSOR)
        if not has_digits:
            form = replace(form, decimals=0, width=1)
            return form, None, form
        zero = replace(form, negative_zero=True) if shown.factor < 0 else form
        return form, shown.factor, zero
