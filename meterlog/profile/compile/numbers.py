"""The number of a reading to generated code: counts, and what its digits say of the form."""

from __future__ import annotations

import re
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.profile.compile.arithmetic import operands, rounded
from meterlog.profile.compile.display import Display
from meterlog.profile.compile.values import NOT_A_NUMBER, special_numbers, trimmed
from meterlog.profile.language.kinds import parse_kind

if TYPE_CHECKING:
    from meterlog.profile.compile.meaning import Table
    from meterlog.profile.compile.sums import Sums
    from meterlog.profile.compile.values import Value
    from meterlog.profile.language.content import Shows


@dataclass(frozen=True, slots=True, kw_only=True)
class Digits:
    """The first parts of a form's key: expressions of decimals, width, zero with a minus and special word; or
    one of a display's state, with what each state means."""

    parts: tuple[str, ...]
    shapes: Mapping[int, tuple[int, int, bool]] = field(default_factory=dict)


class Numbers:
    """Writes the number of one reading: a field's, or what arithmetic comes to."""

    def __init__(self, sums: Sums) -> None:
        self.sums, self.values, self.known = sums, sums.values, sums.known
        self.code, self.problems = sums.code, sums.problems

    def write(self, place: int, name: str, said: Shows, special: Table | None) -> Digits | None:
        """Code that sets `counts`; answers the first parts of the key, or None when it is wrong."""
        value = self.known(name)
        decimals = self._decimals(place, said)
        if decimals is None:
            return None
        if value is None:
            found = self.sums.write(place, said, decimals, special)
            return None if found is None else Digits(parts=(found[0], "1", "False", found[1]))
        value = self.sums.told(value)
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
        special = [f"s{place}_{name}" for name in operands(text) if self.sums.is_special(place, name)]
        if special:
            self.values.fail(" or ".join(special), "the decimal point stands nowhere on the display")
        found = self.sums.exact(said, "decimals", text)
        if found is None or found.d != "1" or found.k:
            if found is not None:
                said.where.tell(self.problems, "decimals", expected="arithmetic that gives whole numbers", saw=text)
            return None
        self.code.add(f"d{place} = {found.n}")
        self.values.fail(f"not -9 <= d{place} <= 15", "the decimal point stands nowhere on the display")
        return f"d{place}"

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
            self.sums.limit(counts, value.name)
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
        self.sums.limit(counts, value.name)
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
            self.sums.limit(counts, value.name)
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
