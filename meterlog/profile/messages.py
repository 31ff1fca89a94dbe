"""A message of a profile to one Python function: frame in, readings or the reason of a rejection out."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile.code import Code
from meterlog.profile.facts import NO_FACTS, Facts
from meterlog.profile.fields import (
    Fields,
    Layout,
    Value,
    code_key,
    fixed_width,
    number_parts,
    number_pattern,
    word_code,
)
from meterlog.profile.meaning import Fixed, Former, Lamps, Source, Table
from meterlog.readings import COUNTS_LIMIT, Reading
from meterlog.source import near_miss

if TYPE_CHECKING:
    from meterlog.profile.language import FieldText, ProfileText, ReadingText
    from meterlog.source import Problems

Decode = Callable[[bytes], "tuple[Reading, ...] | str"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A compiled message: its function, the text of it, and what chose the forms of each reading."""

    decode: Decode
    source: str
    formers: tuple[Former, ...]


class MessageCompiler:
    """Writes one message."""

    def __init__(self, said: ProfileText, layout: Layout, ends: tuple[bytes, ...], problems: Problems) -> None:
        self.said = said
        self.layout = layout
        self.ends = ends
        self.problems = problems
        self.code = Code()
        self.fields = Fields(self.code, layout, problems)
        self.values: dict[str, Value] = {}

    def compile(self) -> Message | None:
        if self.said.text:
            self._template()
        for name, field in self.said.fields.items():
            if name in self.values:
                continue
            value = self.fields.placed(name, field)
            if value is None:
                field.where.tell(
                    self.problems, expected="where it stands: byte, bytes, bits, digits, or {" + name + "} in `text`",
                    saw="no place",
                )  # fmt: skip
                continue
            self.values[name] = self._held(value)
        self._constants()
        sources = self._sources()
        formers = [self._reading(number, reading, sources) for number, reading in enumerate(self.said.readings)]
        if len(self.problems) or None in formers:
            return None
        items = "".join(f"Reading(form{i}, counts{i}), " for i in range(len(formers)))
        if any(self._dynamic):
            self.code.add(f"return tuple([r for r in ({items}) if r.form is not None])")
        else:
            self.code.add(f"return ({items})")
        self.code.names |= {"Reading": Reading, "LIMIT": COUNTS_LIMIT}
        function, source = self.code.function("decode(f)")
        return Message(decode=function, source=source, formers=tuple(f for f in formers if f))

    _dynamic: list[bool]

    def _held(self, value: Value) -> Value:
        """A value kept in a variable of its own, so that it is worked out once."""
        if value.kind not in ("int", "bytes") or value.expr.isidentifier():
            return value
        self.code.add(f"v_{value.name} = {value.expr}")
        return replace(value, expr=f"v_{value.name}")

    # -- the text template ---------------------------------------------------

    def _template(self) -> None:
        pieces = re.split(r"\{([a-z0-9_]*)\}", self.said.text)
        pattern = b""
        groups: list[str] = []
        for place, piece in enumerate(pieces):
            if place % 2 == 0:
                pattern += re.sub(rb"(?:\\ )+", b" +", re.escape(piece.encode("latin-1")))
                continue
            following = pieces[place + 1][:1].encode("latin-1")
            pattern += self._hole(piece, following, groups)
        if self.ends:
            pattern += b"(?:" + b"|".join(map(re.escape, self.ends)) + b")"
        match = self.code.constant(re.compile(pattern, re.DOTALL).fullmatch, "match")
        self.code.add(f"m = {match}(f)")
        self.code.add("if m is None:")
        self.code.add(f"    return {self.code.constant(f'does not look like {self.said.text!r}')}")
        if len(groups) == 1:
            self.code.add(f"{groups[0]} = m[1]")
        elif groups:
            self.code.add(f"{', '.join(groups)} = m.groups()")

    def _hole(self, name: str, following: bytes, groups: list[str]) -> bytes:
        anything = b"[^" + re.escape(following) + b"]*" if following else b".*"
        if not name or name == "_":
            return anything
        field = self.said.fields.get(name)
        used_as_number = any(reading.value == name for reading in self.said.readings)
        kind = field.kind if field else ""
        if kind.startswith("decimal") or (not kind and used_as_number):
            assert field is not None or used_as_number
            parts = number_parts(name, bool(field and field.special))
            self.values[name] = Value(kind="number", name=name, parts=parts, width=fixed_width(field))
            groups.extend(parts)
            return number_pattern(field) if field else _PLAIN_NUMBER
        groups.append(f"v_{name}")
        self.values[name] = Value(kind="bytes", name=name, expr=f"v_{name}")
        if field and field.means and not field.under:
            words = sorted((word_code(word) for word in field.means), key=len, reverse=True)
            return b" *(" + b"|".join(map(re.escape, words)) + b") *"
        return b"(" + anything + b")"

    # -- what must hold -------------------------------------------------------

    def _constants(self) -> None:
        for name, field in self.said.fields.items():
            value = self.values.get(name)
            if not field.value or value is None:
                continue
            codes = frozenset(self._codes(field, value, field.value))
            self.code.add(f"if {value.expr} not in {self.code.constant(codes)}:")
            words = " or ".join(field.value)
            self.code.add(f"    return {self.code.constant(f'{name}: expected {words}, saw another code')}")

    def _codes(self, field: FieldText, value: Value, codes: tuple[str, ...]) -> list[object]:
        read = []
        for code in codes:
            try:
                read.append(code_key(value.kind, code))
            except ValueError as error:
                field.where.tell(self.problems, expected="codes of this field", saw=code, hint=str(error))
        return read

    # -- meaning ----------------------------------------------------------------

    def _sources(self) -> dict[str, tuple[str, Source]]:
        """Every source of facts by its field: the expression of its code, and what looks it up."""
        found: dict[str, tuple[str, Source]] = {}
        for name, field in self.said.fields.items():
            value = self.values.get(name)
            if not field.means or value is None:
                continue
            rows: dict[object, Facts] = {}
            expr = value.expr
            if field.under:
                upper = self.values.get(field.under)
                if upper is None:
                    field.where.tell(self.problems, "under", expected="a field of this message", saw=field.under,
                                     hint=near_miss(field.under, self.values))  # fmt: skip
                    continue
                expr = f"({upper.expr}, {value.expr})"
            for code, facts in field.means.items():
                if isinstance(facts, Facts):
                    rows |= dict.fromkeys(self._codes(field, value, (code,)), facts)
                elif field.under:
                    for inner, inner_facts in facts.items():
                        for outer in self._codes(self.said.fields[field.under], self.values[field.under], (code,)):
                            rows |= {(outer, k): inner_facts for k in self._codes(field, value, (inner,))}
            found[name] = (expr, Table(name, rows))
        if self.said.bits:
            found["bits"] = self._lamps()
        return found

    def _lamps(self) -> tuple[str, Source]:
        """All single bits as one number: the bytes that hold them, masked."""
        places = {place[0]: facts for place, facts in self.said.bits.items()}
        first = min(self.layout.index(place.byte) for place in places)
        last = max(self.layout.index(place.byte) for place in places)
        rows = []
        for place, facts in places.items():
            mask = 1 << (8 * (last - self.layout.index(place.byte)) + place.high)
            rows.append((f"bit {place}", mask, facts))
        mask = sum(mask for _, mask, _ in rows)
        return f"int.from_bytes(f[{first}:{last + 1}], 'big') & {mask}", Lamps(tuple(rows))

    def _reading(self, number: int, said: ReadingText, sources: dict[str, tuple[str, Source]]) -> Former | None:
        value = self.values.get(said.value)
        if value is None:
            said.where.tell(self.problems, "value", expected="a field of this message", saw=said.value,
                            hint=near_miss(said.value, self.values))  # fmt: skip
            return None
        named = {name for reading in self.said.readings for name in reading.by}
        mine = {k: v for k, v in sources.items() if k in said.by or k not in named}
        field = self.said.fields.get(said.value)
        special = None
        if field and field.special:
            rows = {code_key(value.kind, word): facts for word, facts in field.special.items()}
            special = Table(said.value, rows)
        fixed = Facts(quantity=said.quantity, unit=said.unit, mode=said.mode, decimals=said.decimals,
                      channel=said.channel, flags=frozenset(said.flags))  # fmt: skip
        former = Former(
            (Fixed("the profile", fixed), Fixed("the step", said.step or NO_FACTS)),
            special,
            tuple(source for _, source in mine.values()),
        )
        key = self._digits(number, value, special)
        codes = "".join(f", {expr}" for expr, _ in mine.values())
        self._form(number, former, f"({key}{codes})")
        return former

    def _digits(self, number: int, value: Value, special: Table | None) -> str:
        """Code that sets counts; answers the key's first four parts."""
        add, counts = self.code.add, f"counts{number}"
        if value.kind == "int":
            add(f"{counts} = {value.expr}")
            if special is None:
                return "None, 1, False, None"
            words = self.code.constant(frozenset(special.rows), "special")
            return f"None, 1, False, {counts} if {counts} in {words} else None"
        if value.kind == "display":
            read = self.code.constant(_display_reader(special), "read")
            add(f"{counts}, d{number}, w{number}, z{number}, s{number} = {read}({value.expr})")
            add(f"if {counts} is None:")
            add(f"    return {self.code.constant(f'{value.name}: the figures make no number')}")
            return f"d{number}, w{number}, z{number}, s{number}"
        sign, before, after, exponent = value.parts[:4]
        word = value.parts[4] if special else None
        if word:
            add(f"if {word} is not None:")
            add(f"    {counts} = d{number} = 0; w{number} = 1; z{number} = False")
            add("else:")
            self.code.indent()
        add(f"{counts} = int({before} + {after})")
        add(f"if {counts} >= LIMIT:")
        add(f"    return {self.code.constant(f'{value.name}: more digits than can be kept exactly')}")
        add(f"d{number} = len({after})")
        width = f"len({before}) if {before}[:1] == b'0' or not {before} else 1" if value.width is None else value.width
        add(f"w{number} = {width}")
        add(f"if {exponent}: d{number} -= int({exponent})")
        add(f"z{number} = {sign} == b'-' and not {counts}")
        add(f"if {sign} == b'-': {counts} = -{counts}")
        if word:
            self.code.dedent()
        return f"d{number}, w{number}, z{number}, {word}"

    def _form(self, number: int, former: Former, key: str) -> None:
        kept = self.code.constant(former.kept, "kept")
        make = self.code.constant(former.make, "make")
        add = self.code.add
        add(f"key = {key}")
        add(f"entry = {kept}.get(key) or {make}(key)")
        add("if entry.__class__ is STR: return entry")
        self.code.names["STR"] = str
        add(f"form{number}, factor, zero = entry")
        add(f"if factor is None: counts{number} = None")
        add("elif factor != 1:")
        add(f"    counts{number} *= factor")
        add(f"    if not counts{number}: form{number} = zero")
        self._dynamic = [True]


_PLAIN_NUMBER = rb" *([-+]?) *(?=\.?\d)(\d{0,15}+)\.?+(\d{0,15}+)(?:[eE]([-+]?\d{1,2}))? *"


def _display_reader(special: Table | None) -> Callable[[str], tuple[int | None, int, int, bool, bytes | None]]:
    words = special.rows if special else {}

    def read(text: str) -> tuple[int | None, int, int, bool, bytes | None]:
        """(counts, decimals, width, zero with a minus, special word) of a display's figures."""
        word = text.replace(".", "").replace("-", "").strip().encode("latin-1")
        if word in words:
            return 0, 0, 1, False, word
        match = _FIGURES.fullmatch(text)
        if not match:
            return None, 0, 1, False, None
        sign, before, after = match.groups(default="")
        counts = int(before + after)
        width = len(before) if before[:1] == "0" or not before else 1
        return -counts if sign else counts, len(after), width, bool(sign) and not counts, None

    return read


_FIGURES = re.compile(r"(-?) *(?=\.?\d)(\d*)(?:\.(\d*))?")
