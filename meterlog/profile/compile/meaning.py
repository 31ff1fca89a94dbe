"""From the codes of a frame to the form of a reading: the part that need not be fast.

The generated decoder keeps every form that it has met under the key of the codes that chose it;
only a key that it has not met comes here, is looked up in the profile's tables and put together.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace

from meterlog.base.readings import Bound, Form
from meterlog.conversation.reasons import Untold
from meterlog.profile.language.facts import NO_FACTS, Facts, form_of, merge

KEPT_FORMS = 4096
"""Forms kept for one reading of a profile; when there are more, the lot is forgotten."""

Key = tuple[Hashable, ...]
Entry = tuple[Form | None, int | None, Form | None]
"""A form, what the counts are multiplied by (None: no digits), and the form of a zero with a minus.
The form is None where the codes say that there is no reading."""

NOTHING: Entry = (None, None, None)
MINUS = "minus"
"""The flag of an overload that was shown with a minus, as reversed leads show it."""
ANY = object()
"""Stands in a row below another field's code for every code."""
Found = list[tuple[str, Facts]] | str


@dataclass(frozen=True, slots=True)
class Table:
    """A field's codes and what they mean; a code of two is a row below another field's, (code, ANY) all of them."""

    who: str
    rows: Mapping[Hashable, Facts]
    under: str = ""

    def row(self, code: Hashable) -> Hashable:
        """The code under which a row holds this one."""
        return code if code in self.rows or not isinstance(code, tuple) else (code[0], ANY)

    def look_up(self, code: Hashable) -> Found:
        facts = self.rows.get(self.row(code))
        if facts is None and code is None:
            return Untold(f"nothing has told {self.who} yet")
        return [(self.who, facts)] if facts is not None else f"{self.who}: no meaning for {shown(code)}"

    @property
    def says(self) -> list[Facts]:
        return list(self.rows.values())


@dataclass(frozen=True, slots=True)
class Lamps:
    """Single bits with a meaning each; the code is a byte, or bytes or several of both that hold them all.

    A row is (name, which byte of the code when it is laid out flat, mask in that byte, facts).
    """

    rows: tuple[tuple[str, int, int, Facts], ...]

    def look_up(self, code: Hashable) -> Found:
        laid = flat(code)
        return [(who, facts) for who, byte, mask, facts in self.rows if laid[byte] & mask]

    @property
    def says(self) -> list[Facts]:
        return [facts for *_, facts in self.rows]


def flat(code: Hashable) -> bytes:
    """The bytes of a code of lamps, side by side."""
    if isinstance(code, int):
        return bytes((code,))
    return code if isinstance(code, bytes) else b"".join(map(flat, code))  # type: ignore[call-overload]


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
    if code is ANY:
        return "any code"
    if isinstance(code, tuple):
        return " with ".join(map(shown, code))
    if isinstance(code, bytes):
        return repr(code.decode("latin-1"))
    return f"0x{code:02X}" if isinstance(code, int) and code >= 0 else repr(code)


SAID = object()
"""Stands in what is always the same of a key for a part that the code gives each time."""


class Former:
    """Finds and keeps the entries of one reading.

    A key in full is (decimals or None, width, zero with a minus, special word or None, code of each source …);
    the generated code leaves out what is always the same, and gives the state of a display as one number.

    Attributes:
        always: the first four parts of every key, SAID where they change.
        shapes: of a display, (decimals, width, zero with a minus) for each state of its points and minus.
        kept: the forms that take the counts as they are: what the generated code looks into.
        bent: the other entries.
        met: the keys whose rows examples have reached, for `profile check`.
    """

    def __init__(
        self, fixed: tuple[tuple[str, Facts], ...], special: Table | None, sources: tuple[Source, ...]
    ) -> None:
        self.fixed = fixed
        self.special = special
        self.sources = sources
        said = [facts for _, facts in fixed] + [f for source in sources for f in source.says]
        self.everything = tuple(said)
        self.always: Key = (SAID,) * 4
        self.shapes: Mapping[int, tuple[int, int, bool]] = {}
        self.may_be_nothing = any(f.nothing for f in [*said, *(special.says if special else [])])
        self.kept: dict[Key, Form] = {}
        self.bent: dict[Key, Entry] = {}

    def make(self, key: Key) -> Entry | str:
        """The entry of a key, kept from now on; or the reason why the frame is not believed."""
        bent = self.bent.get(key)
        if bent is not None:
            return bent
        if self.shapes and isinstance(key[0], int) and key[0] not in self.shapes:
            return "the display shows more than one point"
        entry = self._entry(self.full(key))
        if isinstance(entry, str):
            return entry
        if len(self.kept) + len(self.bent) >= KEPT_FORMS:
            self.kept.clear()
            self.bent.clear()
        form, factor, _ = entry
        if factor == 1 and form is not None:
            self.kept[key] = form
        else:
            self.bent[key] = entry
        return entry

    def facts(self, key: Key) -> Facts | str:
        """All that the codes of a key say, put together."""
        said = list(self.fixed)
        looked: list[Found] = []
        if key[3] is not None and self.special is not None:
            looked.append(self.special.look_up(key[3]))
        looked += [source.look_up(code) for source, code in zip(self.sources, self.codes(key), strict=True)]
        for found in looked:
            if isinstance(found, str):
                return found
            said += found
        return merge(said)

    def codes(self, key: Key) -> list[Hashable]:
        """The code of each source of a full key, a row below another field's with both codes."""
        codes = list(key[4:])
        places = {source.who: place for place, source in enumerate(self.sources) if isinstance(source, Table)}
        for place, source in enumerate(self.sources):
            if isinstance(source, Table) and source.under in places and not isinstance(codes[place], tuple):
                codes[place] = (key[4 + places[source.under]], codes[place])
        return codes

    def full_keys(self) -> list[Key]:
        """Every key that has been met, in full, with the codes as the tables know them."""
        return [(*full[:4], *self.codes(full)) for full in map(self.full, [*self.kept, *self.bent])]

    def full(self, key: Key) -> Key:
        """A key as the generated code gives it, in full."""
        if self.shapes:
            state, codes = key[0], key[1:]
            first: Key = (*self.shapes[state], None) if isinstance(state, int) else state  # type: ignore[assignment]
            return first + codes
        told = iter(key)
        return (*(next(told) if part is SAID else part for part in self.always), *told)

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
        own += facts.shift or 0
        if not -9 <= own <= 18:
            return f"{own} digits after the point"
        shown = form_of(facts, own, width)
        if isinstance(shown, str):
            return shown
        form = replace(shown.form, negative_zero=True) if minus_zero else shown.form
        if special is not None or facts.bound in (Bound.OVERLOAD, Bound.OPEN_SENSOR):
            if facts.bound is None:
                return f"{_special_word(special)} has no number, and nothing says that it is a bound"
            flags = tuple(sorted({*form.flags, MINUS})) if facts.negative else form.flags
            return replace(form, decimals=0, width=1, flags=flags), None, None
        zero = replace(form, negative_zero=True) if shown.factor < 0 else form
        return form, shown.factor, zero


def _special_word(special: Hashable) -> str:
    """A special value as the profile wrote it, near enough; of arithmetic, with its field's name."""
    if isinstance(special, tuple):
        name, code = special
        return f"{name}: {_special_word(code)}"
    return f"the special value {shown(special)}"


def fixed_facts(**said: object) -> Facts:
    """Facts that hold whatever the frame says."""
    return replace(NO_FACTS, **said)  # type: ignore[arg-type]
