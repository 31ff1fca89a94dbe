"""The number of a reading to generated code: counts, and what its digits say of the form."""

from __future__ import annotations

import re
import struct
from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from meterlog.frames.reasons import Untold
from meterlog.profile import arithmetic
from meterlog.profile.arithmetic import Exact, operands, rounded
from meterlog.profile.display import Display
from meterlog.profile.kinds import parse_kind
from meterlog.profile.values import NOT_A_NUMBER, special_numbers, trimmed
from meterlog.readings import COUNTS_LIMIT
from meterlog.source import near_miss

if TYPE_CHECKING:
    from meterlog.profile.content import Shows
    from meterlog.profile.meaning import Table
    from meterlog.profile.values import Value, Values
    from meterlog.source import Problems

TOO_MANY = "more digits than can be kept exactly"


@dataclass(frozen=True, slots=True, kw_only=True)
class Digits:
    """The first parts of a form's key: expressions of decimals, width, zero with a minus and special word; or
    one of a display's state, with what each state means."""

    parts: tuple[str, ...]
    shapes: Mapping[int, tuple[int, int, bool]] = field(default_factory=dict)


class Numbers:
    """Writes the number of one reading; `known` gives a field by its name, `special_codes` its special values."""

    def __init__(
        self,
        values: Values,
        known: Callable[[str], Value | None],
        special_codes: Callable[[str], Iterable[Hashable]],
        problems: Problems,
    ) -> None:
        self.values, self.known, self.special_codes, self.problems = values, known, special_codes, problems
        self.code = values.code

    def write(self, place: int, name: str, said: Shows, special: Table | None) -> Digits | None:
        """Code that sets `counts`; answers the first parts of the key, or None when it is wrong."""
        value = self.known(name)
        decimals = self._decimals(place, said)
        if decimals is None:
            return None
        if value is None:
            return self._sum(place, said, decimals, special)
        value = self._told(value)
        if value.kind == "int":
            return self._whole(place, value, special, decimals)
        if value.kind == "float":
            return self._float(place, value, special, decimals)
        if value.kind == "display":
            assert value.field
            shapes = Display(self.values, value.field).write(f"counts{place}", f"k{place}")
            return Digits(parts=(f"k{place}",), shapes=shapes)
        if value.kind == "number":
            return self._text(place, value, special, decimals)
        said.where.tell(
            self.problems,
            "value",
            expected="a field that holds a number",
            saw=name,
            hint="say `as: decimal` or `as: digits` in the field",
        )
        return None

    def _decimals(self, place: int, said: Shows) -> str | None:
        """The expression of the digits after the point that the reading itself says; "None" where it does not."""
        text = said.decimals
        if not text:
            return "None"
        if re.fullmatch(r"-?[0-9]{1,9}", text):
            if not -9 <= int(text) <= 15:
                said.where.tell(self.problems, "decimals", expected="from -9 to 15", saw=text)
                return None
            return str(int(text))
        special = [f"s{place}_{name}" for name in operands(text) if self._is_special(place, name)]
        if special:
            self.values.fail(" or ".join(special), "the decimal point stands nowhere on the display")
        found = self._exact(said, "decimals", text)
        if found is None or found.d != "1" or found.k:
            if found is not None:
                said.where.tell(self.problems, "decimals", expected="arithmetic that gives whole numbers", saw=text)
            return None
        self.code.add(f"d{place} = {found.n}")
        self.values.fail(f"not -9 <= d{place} <= 15", "the decimal point stands nowhere on the display")
        return f"d{place}"

    def _exact(self, said: Shows, key: str, text: str) -> Exact | None:
        try:
            tree = arithmetic.parse(text)
            unknown = [name for name in arithmetic.names(tree) if self.known(name) is None]
            if unknown:
                said.where.tell(
                    self.problems,
                    key,
                    expected="fields of this message",
                    saw=unknown[0],
                    hint=near_miss(unknown[0], self.values.known),
                )
                return None
            return arithmetic.exact(tree, self._operand)
        except ValueError as error:
            said.where.tell(
                self.problems, key, expected="a field, or arithmetic over fields", saw=text, hint=str(error)
            )
            return None

    def _told(self, value: Value) -> Value:
        """A value that an earlier message must have told."""
        if not value.is_kept:
            return value
        self.code.add(f"k_{value.name} = {value.expr}")
        self.values.fail(f"k_{value.name} is None", Untold(f"nothing has told {value.name} yet"))
        return replace(value, expr=f"k_{value.name}", is_kept=False)

    def _operand(self, name: str) -> Exact:
        """A field as an operand."""
        value = self.known(name)
        assert value
        value = self._told(value)
        if value.kind == "int":
            return Exact(n=value.expr)
        if value.kind == "number":
            sign, before, after, exponent = value.parts[:4]
            self.code.add(f"n_{name} = int({before} + {after})")
            if sign:
                self.code.add(f"if {sign} == b'-': n_{name} = -n_{name}")
            self.code.add(f"e_{name} = len({after}) - int({exponent or 0} or 0)")
            self.values.fail(f"not 0 <= e_{name} <= 18", TOO_MANY, name)
            return Exact(n=f"n_{name}", d=f"10 ** e_{name}")
        if value.kind == "float":
            self.values.fail(f"not -1e15 < {value.expr} < 1e15", "no number", name)
            self.code.add(f"n_{name}, m_{name} = {value.expr}.as_integer_ratio()")
            return Exact(n=f"n_{name}", d=f"m_{name}")
        raise ValueError(f"{name} is no number: say `as: decimal` or `as: digits`")

    def _sum(self, place: int, said: Shows, decimals: str, special: Table | None) -> Digits | None:
        """Arithmetic; where one of its fields is no number, that field's special value is what it comes to."""
        names = [name for name in operands(said.value) if special and self._is_special(place, name)]
        if not names:
            shown = self._arithmetic(place, said, decimals)
            return None if shown is None else Digits(parts=(shown, "1", "False", "None"))
        add, word = self.code.add, f"s{place}"
        add(f"{word} = " + " or ".join(f"s{place}_{name}" for name in names) + " or None")
        add(f"if {word}: counts{place} = 0")
        add("else:")
        self.code.indent()
        shown = self._arithmetic(place, said, decimals)
        self.code.dedent()
        return None if shown is None else Digits(parts=(shown, "1", "False", word))

    def _is_special(self, place: int, name: str) -> bool:
        """Code that finds a field's special value as (name, code), where it has any."""
        value = self.known(name)
        if value is None or value.field is None or not value.field.special or value.is_kept:
            return False
        add, word = self.code.add, f"s{place}_{name}"
        called = self.code.constant(name, "name")
        if value.kind == "number":
            numbers = special_numbers(value.field)
            add(f"{word} = {value.parts[4] or 'None'}")
            if numbers:
                _, before, after, exponent = value.parts[:4]
                sign = f" * (-1 if {value.parts[0]} == b'-' else 1)" if value.parts[0] else ""
                self.code.names["trimmed"] = trimmed
                known = self.code.constant(numbers, "special")
                point = f"len({after}) - int({exponent or 0} or 0)"
                add(f"if {word} is None: {word} = {known}.get(trimmed(int({before} + {after}){sign}, {point}))")
            add(f"{word} = {word} is not None and ({called}, {word})")
            return True
        known = self.code.constant({code: code for code in self.special_codes(name)}, "special")
        number = f"({value.expr} if {value.expr} == {value.expr} else {NOT_A_NUMBER!r})"
        add(f"{word} = {known}.get({number if value.kind == 'float' else value.expr})")
        add(f"{word} = {word} is not None and ({called}, {word})")
        return True

    def _arithmetic(self, place: int, said: Shows, decimals: str) -> str | None:
        """Whole numbers are counts, as a field's are; others are rounded to the decimals said. Answers the decimals."""
        found = self._exact(said, "value", said.value)
        if found is None:
            return None
        counts, n, d, k = f"counts{place}", found.n, found.d, found.k
        if d == "1" and (decimals == "None" or not k):
            self.code.add(f"{counts} = {n}")
            decimals = str(k) if k else decimals
        elif decimals == "None":
            said.where.tell(
                self.problems, expected="the key 'decimals': this arithmetic does not end", saw="no such key"
            )
            return None
        else:
            if d != "1":
                self.code.add(f"bottom = {d}")
                self.values.fail("not bottom", "a division by zero")
                d = "bottom"
            self.code.names["rounded"] = rounded
            shift = f"{decimals} - {k}" if k else decimals
            self.code.add(f"shift = {shift}")
            self.code.add(f"{counts} = rounded({n} * 10 ** max(shift, 0), {d} * 10 ** max(-shift, 0))")
        self._limit(counts, said.value)
        return decimals

    def _limit(self, counts: str, name: str) -> None:
        self.code.names["LIMIT"] = COUNTS_LIMIT
        self.values.fail(f"not -LIMIT < {counts} < LIMIT", TOO_MANY, name)

    def _whole(self, place: int, value: Value, special: Table | None, decimals: str) -> Digits:
        counts = f"counts{place}"
        self.code.add(f"{counts} = {value.expr}")
        word = "None"
        if special is not None:
            words = self.code.constant(frozenset(special.rows), "special")
            word = f"s{place}"
            self.code.add(f"{word} = {counts} if {counts} in {words} else None")
            self.code.add(f"if {word} is not None: {counts} = 0")
        if value.bits > 53:
            self._limit(counts, value.name)
        return Digits(parts=(decimals, "1", "False", word))

    def _float(self, place: int, value: Value, special: Table | None, decimals: str) -> Digits:
        """A binary float: its shortest digits, or those that the reading says."""
        add, counts, word, number = self.code.add, f"counts{place}", "None", value.expr
        after_point = f"d{place}" if decimals == "None" else decimals
        if special is not None:
            word = f"s{place}"
            words = self.code.constant({code: code for code in special.rows}, "special")
            add(f"{word} = {words}.get({number} if {number} == {number} else {NOT_A_NUMBER!r})")
            add(f"{counts} = {f'd{place} = ' if decimals == 'None' else ''}0")
            add(f"if {word} is None:")
            self.code.indent()
        self.values.fail(f"not -1e15 < {number} < 1e15", "no number", value.name)
        if decimals == "None":
            add(f"{counts}, d{place} = {self.code.constant(_shortest(value.bits == 32), 'shortest')}({number})")
        else:
            self.code.names["rounded"] = rounded
            add(f"n, m = {number}.as_integer_ratio()")
            add(f"{counts} = rounded(n * 10 ** max({decimals}, 0), m * 10 ** max(-{decimals}, 0))")
        self._limit(counts, value.name)
        if special is not None:
            self.code.dedent()
        return Digits(parts=(after_point, "1", "False", word))

    def _text(self, place: int, value: Value, special: Table | None, decimals: str) -> Digits:
        """A decimal text; its own point counts, the reading's decimals only where it has none."""
        add, counts = self.code.add, f"counts{place}"
        sign, before, after, exponent = value.parts[:4]
        word = value.parts[4] or None
        if word:
            add(f"if {word} is not None:")
            add(f"    {counts} = d{place} = 0; w{place} = 1; z{place} = False")
            add("else:")
            self.code.indent()
        add(f"{counts} = int({before} + {after})")
        fixed = value.width is not None
        if not fixed:
            self._limit(counts, value.name)
        after_point, width_part = f"d{place}", f"w{place}"
        if fixed and value.field is not None and decimals == "None":
            after_point, width_part = str(parse_kind(value.field.kind).after), str(value.width)
        else:
            add(f"d{place} = len({after})")
            width = str(value.width) if fixed else f"len({before}) if {before}[:1] == b'0' or not {before} else 1"
            add(f"w{place} = {width}")
        if exponent:
            add(f"if {exponent}: d{place} -= int({exponent})")
        if decimals != "None":
            add(f"if not d{place}: d{place} = {decimals}")
        add(f"z{place} = False")
        if sign:
            add(f"if {sign} == b'-': z{place} = not {counts}; {counts} = -{counts}")
        else:
            add(f"if not {counts}: z{place} = {before}[:1] == b'-'")
        numbers = special_numbers(value.field) if value.field else {}
        if numbers:
            self.code.names["trimmed"] = trimmed
            known = self.code.constant(numbers, "special")
            add(f"s{place} = {known}.get(trimmed({counts}, {after_point}))")
            add(f"if s{place} is not None: {counts} = d{place} = 0; w{place} = 1; z{place} = False")
        if word:
            self.code.dedent()
            if numbers:
                add(f"if {word} is not None: s{place} = {word}")
        word = f"s{place}" if numbers else word
        return Digits(parts=(after_point, width_part, f"z{place}", word or "None"))


def _shortest(single: bool) -> Callable[[float], tuple[int, int]]:
    """(counts, decimals) of the shortest decimal that is the same binary float."""

    def shortest(value: float) -> tuple[int, int]:
        text = repr(value)
        if single:
            for digits in range(6, 10):
                text = f"{value:.{digits}g}"
                if struct.unpack("f", struct.pack("f", float(text)))[0] == value:
                    break
        mantissa, _, exponent = text.partition("e")
        whole, _, part = mantissa.partition(".")
        decimals = len(part) - int(exponent or 0)
        counts = int(whole + part)
        return (counts, decimals) if decimals >= 0 else (counts * 10**-decimals, 0)

    return shortest
