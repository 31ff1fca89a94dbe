"""What the codes of one message mean: its tables, its lamps and its requests, as sources of facts for readings."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.source import near_miss
from meterlog.profile.compile.arithmetic import operands
from meterlog.profile.compile.codes import code_key
from meterlog.profile.compile.lamps import lamps
from meterlog.profile.compile.meaning import ANY, ChannelText, Source, Table, WordList, shown
from meterlog.profile.compile.numbers import word_code
from meterlog.profile.compile.view import FrameReader, View
from meterlog.profile.language.facts import Facts
from meterlog.profile.language.places import parse_code

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meterlog.base.source import Problems
    from meterlog.profile.compile.values import Value, Values
    from meterlog.profile.language.content import Field, Says, Shows

Sources = dict[str, tuple[FrameReader, Source]]
"""Of each field that has meanings: what answers its code, and what looks it up."""
Rows = dict[Hashable, Facts]
SpecialRow = Callable[[View, Hashable], Hashable | None]
"""Answers the row of a special value by a field's code; None where the code is none, or none in this frame."""


ANY_OTHER = "any other"
"""The code of a row that holds for every code that no other row has."""
OR = " or "
MOST_CODES = 65535
_SPAN = re.compile(r"(0x[0-9A-Fa-f]+|\d+)\.\.(0x[0-9A-Fa-f]+|\d+)")


class Tables:
    """The sources of one message.

    Args:
        requests: what each request's answers mean, by its number; empty where no request says a thing.
        kept: the fields that other messages keep.

    Attributes:
        steady: nothing but the frame's own bytes has been looked at.
    """

    def __init__(
        self,
        says: Says,
        values: Values,
        requests: Mapping[int, Facts],
        kept: Mapping[str, Value],
        problems: Problems,
    ) -> None:
        self.says, self.values, self.requests, self.kept, self.problems = says, values, requests, kept, problems
        self.steady = True
        self._special: dict[str, Rows] = {}

    def sources(self) -> Sources:
        found: Sources = {}
        kept = {name: value.field for name, value in self.kept.items() if name not in self.says.fields and value.field}
        for name, said in {**self.says.fields, **(kept if self.says.readings else {})}.items():
            if not said.means:
                continue
            value = self.known(name)
            if value is not None and value.kind == "words":
                words: Rows = {word_code(word): facts for word, facts in said.means.items() if isinstance(facts, Facts)}
                found[name] = (value.read, WordList(name, words))
            elif value is not None and self.is_code(said, value, "means"):
                self._table(found, name, said, value)
        if self.says.bits:
            found[_beside(found, "bits")] = lamps(self.says, self.values)
        if self.requests:
            self.steady = False
            rows: Rows = dict(self.requests.items())
            found[_beside(found, "request")] = (_request, Table("the request", rows))
        return found

    def _table(self, found: Sources, name: str, said: Field, value: Value) -> None:
        rows: Rows = {}
        read = value.read
        upper = self._upper(said)
        if said.under and upper is None:
            return
        if upper is not None:
            outer_code, inner_code = upper.read, value.read
            read = lambda view: (outer_code(view), inner_code(view))  # noqa: E731
        for code, facts in said.means.items():
            if isinstance(facts, Facts):
                if upper is None or upper.field is None:
                    self._add(said, rows, dict.fromkeys(self.codes(said, value, (code,)), facts))
                else:
                    self._add(said, rows, {(outer, ANY): facts for outer in self.codes(upper.field, upper, (code,))})
            elif upper is None or upper.field is None:
                said.where.tell(
                    self.problems,
                    "means",
                    expected=f"what {code} means, in words",
                    saw="a table of codes",
                    hint="a table below each code needs `under: FIELD`",
                )
            else:
                self._add_below(said, value, rows, self.codes(upper.field, upper, (code,)), facts)
        found[name] = (read, Table(name, rows, said.under))

    def _add_below(
        self, said: Field, value: Value, rows: Rows, outer: list[Hashable], table: Mapping[str, Facts]
    ) -> None:
        """Rows below each of another field's codes."""
        for inner, facts in table.items():
            codes = self.codes(said, value, (inner,))
            self._add(said, rows, {(above, code): facts for above in outer for code in codes})

    def _add(self, said: Field, rows: Rows, more: Rows) -> None:
        """More rows; a code that has two is told, for one of them would never be taken."""
        for code, facts in more.items():
            if rows.get(code, facts) != facts:
                said.where.tell(self.problems, expected="each code once", saw=f"{shown(code)} with two meanings")
        rows |= more

    def _upper(self, said: Field) -> Value | None:
        """The field whose code chooses a table; None where there is none, which is told where one is named."""
        if not said.under:
            return None
        upper = self.known(said.under)
        if upper is None:
            allowed = near_miss(said.under, [*self.values.known, *self.kept])
            said.where.tell(self.problems, "under", expected="a field of this message", saw=said.under, hint=allowed)
            return None
        return upper if self.is_code(said, upper, "under") else None

    def known(self, name: str) -> Value | None:
        """A field of this message, or one that another keeps."""
        value = self.values.known.get(name)
        if value is None and name in self.kept:
            kept = self.kept[name]
            self.steady = False
            return replace(kept, read=lambda view: view.memory.fields.get(name), is_kept=True)
        return value

    def is_code(self, said: Field, value: Value, key: str) -> bool:
        """Whether a field can be a code, which a number with a point or a display is not; told where not."""
        if value.kind in ("int", "bytes"):
            return True
        said.where.tell(
            self.problems,
            key,
            expected="a field that is a code: a whole number or a text",
            saw=f"{value.name}, a {'display' if value.field and value.field.digits else 'number with a point'}",
            hint="say `as: text` or `as: digits`, or `special` for values that are no number",
        )
        return False

    def codes(self, said: Field, value: Value, codes: tuple[str, ...]) -> list[Hashable]:
        read: list[Hashable] = []
        for code in self._each(value, codes):
            if code == ANY_OTHER:
                read.append(ANY)
                continue
            try:
                key = code_key(value, code)
            except ValueError as error:
                said.where.tell(self.problems, expected="a code as this field is read", saw=code, hint=str(error))
                continue
            if value.kind == "int" and isinstance(key, int) and key not in value.span:
                said.where.tell(self.problems, expected=f"a code from {value.span[0]} to {value.span[-1]}", saw=code)
            read.append(key)
        return read

    @staticmethod
    def _each(value: Value, codes: tuple[str, ...]) -> Iterator[str]:
        """Each single code of `1 or 2`, `0x10..0x1F` and the like; of a text, what stands there as a whole too."""
        for code in codes:
            if value.kind == "bytes" and OR in code:
                yield code
            for part in code.split(OR):
                span = _SPAN.fullmatch(part) if value.kind == "int" else None
                if span is None:
                    yield part
                else:
                    yield from map(str, range(parse_code(span[1]), min(parse_code(span[2]), MOST_CODES) + 1))

    def mine(self, said: Shows, sources: Sources) -> Sources:
        """The sources whose meaning belongs to a reading: those it names, and those nobody names."""
        for name in said.by:
            if name not in sources:
                said.where.tell(
                    self.problems, "by", expected="fields with `means`", saw=name, hint=near_miss(name, sources)
                )
        named = {name for reading in self.says.readings for name in reading.by}
        found = {name: source for name, source in sources.items() if name in said.by or name not in named}
        return found | (self._channel(said) if said.channel.startswith("{") else {})

    def _channel(self, said: Shows) -> Sources:
        name = said.channel.strip("{}")
        value = self.known(name)
        if value is None or value.kind not in ("bytes", "int"):
            said.where.tell(
                self.problems,
                "channel",
                expected="a field in braces, or a name",
                saw=said.channel,
                hint=near_miss(name, self.values.known),
            )
            return {}
        return {f"channel {name}": (value.read, ChannelText(name))}

    def special(self, name: str, said: Shows) -> Table | None:
        """What is no number: a field's special values, or those of each field of a sum, with its name."""
        if self.known(name) is not None:
            rows, under = self._special_rows(name), self._special_under(name)
        else:
            parts = operands(name)
            rows = {(part, row): facts for part in parts for row, facts in self._special_rows(part).items()}
            under = ""
        return Table(said.value or said.channel or "the value", rows, under) if rows else None

    def special_row(self, name: str) -> SpecialRow:
        """What finds the row of a field's special value."""
        rows = self._special_rows(name)
        upper = self.known(self._special_under(name))
        if upper is None:
            return lambda view, code: code if code in rows else None
        outer = upper.read
        inner = {row[1] for row in rows if isinstance(row, tuple)}

        def row(view: View, code: Hashable) -> Hashable | None:
            if code not in inner:
                return None
            above = outer(view)
            found = ((above, code), (ANY, code)) if above is not None else ()
            return next((each for each in found if each in rows), None if found else (above, code))

        return row

    def _special_under(self, name: str) -> str:
        """The field whose code chooses a field's special values; "" where none does."""
        value = self.known(name)
        said = value.field if value else None
        return said.under if said and any(not isinstance(each, Facts) for each in said.special.values()) else ""

    def _special_rows(self, name: str) -> Rows:
        """A field's special values by their codes, below those of another field where that chooses them."""
        if name not in self._special:
            value = self.known(name)
            self._special[name] = self._rows_of_special(value.field, value) if value and value.field else {}
        return self._special[name]

    def _rows_of_special(self, said: Field, value: Value) -> Rows:
        rows: Rows = {}
        upper = self._upper(said) if self._special_under(value.name) else None
        for word, facts in said.special.items():
            if isinstance(facts, Facts):
                self._add(said, rows, dict.fromkeys(self.codes(said, value, (word,)), facts))
            elif upper is not None and upper.field is not None:
                self._add_below(said, value, rows, self.codes(upper.field, upper, (word,)), facts)
        return rows


def _beside(found: Sources, name: str) -> str:
    """A name for what is no field; a field that has it keeps it."""
    return name if name not in found else f"the {name}"


def _request(view: View) -> int | None:
    """The number of the request that a frame answers."""
    asked = view.memory.request
    return None if asked is None else int(asked.index)
