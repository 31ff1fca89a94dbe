"""From the codes of a frame to the form of a reading: the part that need not be fast.

The generated decoder keeps every form that it has met under the key of the codes that chose it;
only a key that it has not met comes here, is looked up in the profile's tables and put together.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace

from meterlog.profile.facts import NO_FACTS, Facts, form_of, merge
from meterlog.readings import Bound, Form

KEPT_FORMS = 4096
"""Forms kept for one reading of a profile; when there are more, the lot is forgotten."""

Key = tuple[Hashable, ...]
Entry = tuple[Form | None, int | None, Form | None]
"""A form, what the counts are multiplied by (None: no digits), and the form of a zero with a minus.
The form is None where the codes say that there is no reading."""

NOTHING: Entry = (None, None, None)
Found = list[tuple[str, Facts]] | str


@dataclass(frozen=True, slots=True)
class Table:
    """A field's codes and what they mean; a code of two is a row below another field's."""

    who: str
    rows: Mapping[Hashable, Facts]

    def look_up(self, code: Hashable) -> Found:
        facts = self.rows.get(code)
        if facts is None and code is None:
            return f"nothing has told {self.who} yet"
        return [(self.who, facts)] if facts is not None else f"{self.who}: no meaning for {shown(code)}"

    @property
    def says(self) -> list[Facts]:
        return list(self.rows.values())


@dataclass(frozen=True, slots=True)
class Lamps:
    """Single bits with a meaning each; the code is the number that holds them all."""

    rows: tuple[tuple[str, int, Facts], ...]

    def look_up(self, code: Hashable) -> Found:
        assert isinstance(code, int)
        return [(who, facts) for who, mask, facts in self.rows if code & mask]

    @property
    def says(self) -> list[Facts]:
        return [facts for _, _, facts in self.rows]


@dataclass(frozen=True, slots=True)
class ChannelText:
    """A channel's name as the frame tells it."""

    who: str

    def look_up(self, code: Hashable) -> Found:
        text = code.decode("latin-1") if isinstance(code, bytes) else str(code)
        if not text or len(text) > 40 or not text.isprintable():
            return f"{self.who}: no name for a channel: {text[:40]!r}"
        return [(self.who, Facts(channel=text))]

    @property
    def says(self) -> list[Facts]:
        return []


Source = Table | Lamps | ChannelText


def shown(code: Hashable) -> str:
    """A code as a manual would print it."""
    if isinstance(code, tuple):
        return " with ".join(map(shown, code))
    if isinstance(code, bytes):
        return repr(code.decode("latin-1"))
    return f"0x{code:02X}" if isinstance(code, int) and code >= 0 else repr(code)


class Former:
    """Finds and keeps the entries of one reading.

    A key is (decimals or None, width, zero with a minus, special word or None, code of each source …).

    Attributes:
        plain: no code can change sign, factor or bound: what is kept is the form itself.
        kept: what the generated code looks into first.
        met: the keys whose rows examples have reached, for `profile check`.
    """

    def __init__(
        self, fixed: tuple[tuple[str, Facts], ...], special: Table | None, sources: tuple[Source, ...]
    ) -> None:
        self.fixed = fixed
        self.special = special
        self.sources = sources
        said = [facts for _, facts in fixed] + [f for source in sources for f in source.says]
        self.plain = special is None and not any(map(_bends, said))
        self.may_be_nothing = any(f.nothing for f in [*said, *(special.says if special else [])])
        self.kept: dict[Key, Entry | Form] = {}

    def make(self, key: Key) -> Entry | Form | str:
        """The entry of a key, kept from now on; or the reason why the frame is not believed."""
        entry = self._entry(key)
        if isinstance(entry, str):
            return entry
        if len(self.kept) >= KEPT_FORMS:
            self.kept.clear()
        kept: Entry | Form = entry
        if self.plain:
            assert entry[0] is not None
            kept = entry[0]
        self.kept[key] = kept
        return kept

    def facts(self, key: Key) -> Facts | str:
        """All that the codes of a key say, put together."""
        said = list(self.fixed)
        looked: list[Found] = []
        if key[3] is not None and self.special is not None:
            looked.append(self.special.look_up(key[3]))
        looked += [source.look_up(code) for source, code in zip(self.sources, key[4:], strict=True)]
        for found in looked:
            if isinstance(found, str):
                return found
            said += found
        return merge(said)

    def _entry(self, key: Key) -> Entry | str:
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
        if not -9 <= own <= 18:
            return f"{own} digits after the point"
        shown = form_of(facts, own, width)
        if isinstance(shown, str):
            return shown
        form = replace(shown.form, negative_zero=True) if minus_zero else shown.form
        if special is not None or facts.bound in (Bound.OVERLOAD, Bound.OPEN_SENSOR):
            if facts.bound is None:
                return f"{special!r} has no number and no bound"
            return replace(form, decimals=0, width=1), None, None
        zero = replace(form, negative_zero=True) if shown.factor < 0 else form
        return form, shown.factor, zero


def _bends(facts: Facts) -> bool:
    """Whether facts change more than the form."""
    return bool(facts.negative or facts.bound or facts.nothing or facts.reject or facts.factor not in (None, 1))


def fixed_facts(**said: object) -> Facts:
    """Facts that hold whatever the frame says."""
    return replace(NO_FACTS, **said)  # type: ignore[arg-type]
