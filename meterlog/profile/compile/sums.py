"""Arithmetic over fields to generated code: what it comes to, and what where one of them is no number."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.readings import COUNTS_LIMIT
from meterlog.base.source import near_miss
from meterlog.conversation.reasons import Untold
from meterlog.profile.compile import arithmetic
from meterlog.profile.compile.arithmetic import Exact, operands, rounded
from meterlog.profile.compile.values import NOT_A_NUMBER, special_numbers, trimmed

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable

    from meterlog.base.source import Problems
    from meterlog.profile.compile.meaning import Table
    from meterlog.profile.compile.values import Value, Values
    from meterlog.profile.language.content import Shows

TOO_MANY = "more digits than can be kept exactly"


class Sums:
    """Writes arithmetic; `known` gives a field by its name, `special_codes` its special values."""

    def __init__(
        self,
        values: Values,
        known: Callable[[str], Value | None],
        special_codes: Callable[[str], Iterable[Hashable]],
        problems: Problems,
    ) -> None:
        self.values, self.known, self.special_codes, self.problems = values, known, special_codes, problems
        self.code = values.code

    def write(self, place: int, said: Shows, decimals: str, special: Table | None) -> tuple[str, str] | None:
        """Code that sets `counts`; answers the expressions of decimals and special value, or None when it is wrong.

        Where one of its fields is no number, that field's special value is what it comes to.
        """
        names = [name for name in operands(said.value) if special and self.is_special(place, name)]
        if not names:
            shown = self._arithmetic(place, said, decimals)
            return None if shown is None else (shown, "None")
        add, word = self.code.add, f"s{place}"
        add(f"{word} = " + " or ".join(f"s{place}_{name}" for name in names) + " or None")
        add(f"if {word}: counts{place} = 0")
        add("else:")
        self.code.indent()
        shown = self._arithmetic(place, said, decimals)
        self.code.dedent()
        return None if shown is None else (shown, word)

    def _arithmetic(self, place: int, said: Shows, decimals: str) -> str | None:
        """Whole numbers are counts, as a field's are; others are rounded to the decimals said. Answers the decimals."""
        found = self.exact(said, "value", said.value)
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
        self.limit(counts, said.value)
        return decimals

    def exact(self, said: Shows, key: str, text: str) -> Exact | None:
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

    def told(self, value: Value) -> Value:
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
        value = self.told(value)
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

    def is_special(self, place: int, name: str) -> bool:
        """Code that finds a field's special value as (name, code), where it can have any."""
        value = self.known(name)
        if value is None or value.field is None or not value.field.special:
            return False
        add, word = self.code.add, f"s{place}_{name}"
        if value.kind == "number":
            self._special_text(word, value)
        else:
            known = self.code.constant({code: code for code in self.special_codes(name)}, "special")
            told = f"{value.expr} if {value.expr} == {value.expr} else {NOT_A_NUMBER!r}"
            add(f"{word} = {known}.get({told if value.kind == 'float' else value.expr})")
        add(f"{word} = {word} is not None and ({self.code.constant(name, 'name')}, {word})")
        return True

    def _special_text(self, word: str, value: Value) -> None:
        """Code that finds the special value of a decimal text, a word or a number."""
        assert value.field
        self.code.add(f"{word} = {value.parts[4] or 'None'}")
        numbers = special_numbers(value.field)
        if not numbers:
            return
        sign, before, after, exponent = value.parts[:4]
        turned = f" * (-1 if {sign} == b'-' else 1)" if sign else ""
        self.code.names["trimmed"] = trimmed
        known = self.code.constant(numbers, "special")
        point = f"len({after}) - int({exponent or 0} or 0)"
        self.code.add(f"if {word} is None: {word} = {known}.get(trimmed(int({before} + {after}){turned}, {point}))")

    def limit(self, counts: str, name: str) -> None:
        self.code.names["LIMIT"] = COUNTS_LIMIT
        self.values.fail(f"not -LIMIT < {counts} < LIMIT", TOO_MANY, name)
