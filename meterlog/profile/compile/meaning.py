"""From the codes of a frame to the form of a reading: the part that need not be fast.

Every form that was met is kept under the key of the codes that chose it; only a key that was not met is looked up in
the profile's tables and put together.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace

from meterlog.base.readings import Bound, Form
from meterlog.conversation.reasons import Refusal, Untold
from meterlog.profile.compile.view import NotBelieved
from meterlog.profile.language.facts import NO_FACTS, Facts, form_of, merge

KEPT_FORMS = 4096
"""Forms kept for one reading of a profile; when there are more, the lot is forgotten."""

CodeKey = tuple[Hashable, ...]
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
        """The code under which a row holds this one, the closest first."""
        if code in self.rows:
            return code
        if not isinstance(code, tuple):
            return ANY
        outer, inner = code
        return next((row for row in ((outer, ANY), (ANY, inner)) if row in self.rows), (ANY, ANY))

    def look_up(self, code: Hashable) -> Found:
        outer, inner = code if isinstance(code, tuple) else ("", code)
        untold = self.under if outer is None else self.who if inner is None else ""
        if untold:
            return Untold(f"nothing has told {untold} yet")
        facts = self.rows.get(self.row(code))
        return [(self.who, facts)] if facts is not None else f"{self.who}: no meaning for {shown(code)}"

    @property
    def says(self) -> list[Facts]:
        return list(self.rows.values())


@dataclass(frozen=True, slots=True)
class Lamps:
    """Single bits with a meaning each; the code is the bytes that hold them, all other bits 0.

    A row is (name, which byte of the code, mask in that byte, facts).
    """

    rows: tuple[tuple[str, int, int, Facts], ...]
    who: str = "bits"

    def look_up(self, code: Hashable) -> Found:
        assert isinstance(code, bytes)
        return [(who, facts) for who, byte, mask, facts in self.rows if code[byte] & mask]

    @property
    def says(self) -> list[Facts]:
        return [facts for *_, facts in self.rows]


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


@dataclass(frozen=True, slots=True)
class WordList:
    """Words in any order with a meaning each; the code is all of them."""

    who: str
    rows: Mapping[Hashable, Facts]

    def look_up(self, code: Hashable) -> Found:
        assert isinstance(code, tuple)
        for word in code:
            if word not in self.rows:
                return f"{self.who}: no meaning for {shown(word)}"
        return [(self.who, self.rows[word]) for word in code]

    @property
    def says(self) -> list[Facts]:
        return list(self.rows.values())


Source = Table | Lamps | ChannelText | WordList


def shown(code: Hashable) -> str:
    """A code as a manual would print it."""
    if code is ANY:
        return "any code"
    if isinstance(code, tuple):
        return " with ".join(map(shown, code))
    if isinstance(code, bytes):
        return repr(code.decode("latin-1"))
    return f"0x{code:02X}" if isinstance(code, int) and code >= 0 else repr(code)


class Former:
    """Finds and keeps the entries of one reading.

    A key is (decimals or None, width, zero with a minus, special value or None, code of each source …).

    Args:
        is_proved: a check proves the frame, so that one which says that it can't measure is a whole answer.

    Attributes:
        everything: all facts that it may come to say.
        met: the entries that are kept; examples have reached their rows, for `profile check`.
    """

    def __init__(
        self,
        fixed: tuple[tuple[str, Facts], ...],
        special: Table | None,
        sources: tuple[Source, ...],
        *,
        is_proved: bool = False,
    ) -> None:
        self._is_proved = is_proved
        self.fixed, self.special, self.sources = fixed, special, sources
        said = [facts for _, facts in fixed] + [f for source in sources for f in source.says]
        self.everything = (*said, *(special.says if special else ()))
        self.met: dict[CodeKey, Entry] = {}

    def entry(self, key: CodeKey) -> Entry:
        """The entry of a key. Raises: NotBelieved, with the reason why there is none."""
        found = self.met.get(key)
        if found is None:
            made = self._entry(key)
            if isinstance(made, str):
                raise NotBelieved(made)
            if len(self.met) >= KEPT_FORMS:
                self.met.clear()
            found = self.met[key] = made
        return found

    def facts(self, key: CodeKey) -> Facts | str:
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

    def _entry(self, key: CodeKey) -> Entry | str:
        facts = self.facts(key)
        if isinstance(facts, str):
            return facts
        if facts.reject:
            return Refusal(facts.reject) if self._is_proved else facts.reject
        if facts.nothing:
            return NOTHING
        decimals, width, minus_zero, special = key[:4]
        assert isinstance(width, int)
        own = decimals if isinstance(decimals, int) and decimals != 0 else facts.decimals or 0
        own += facts.shift or 0
        if not -9 <= own <= 18:
            return (
                f"a number that ends {abs(own)} places {'behind' if own > 0 else 'before'} the point: a special value?"
            )
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
