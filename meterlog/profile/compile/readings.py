"""The number of a reading: a field's, or what arithmetic over fields comes to, as digits."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from meterlog.base.source import near_miss
from meterlog.conversation.reasons import Untold
from meterlog.profile.compile import arithmetic
from meterlog.profile.compile.arithmetic import operands
from meterlog.profile.compile.codes import code_of_float
from meterlog.profile.compile.meaning import shown
from meterlog.profile.compile.numbers import Digits, limited, shortest, special_numbers
from meterlog.profile.compile.values import reason
from meterlog.profile.compile.view import FrameReader, NotBelieved, View

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Hashable

    from meterlog.base.source import Problems
    from meterlog.profile.compile.tables import SpecialRow
    from meterlog.profile.compile.values import Value
    from meterlog.profile.language.content import Field, Shows

LOST_POINT = "the decimal point stands nowhere on the display"


class Numbers:
    """Makes what reads the digits of a reading.

    Args:
        known: a field by its name. special: what finds the row of a field's special value.
    """

    def __init__(
        self,
        known: Callable[[str], Value | None],
        special: Callable[[str], SpecialRow],
        fields: Collection[str],
        problems: Problems,
    ) -> None:
        self._known, self._special, self._fields, self._problems = known, special, fields, problems

    def digits(self, name: str, said: Shows) -> FrameReader | None:
        """What answers the digits of the field `name`, or of the arithmetic that it is; None when it is wrong."""
        decimals = self._decimals(said)
        if decimals is False:
            return None
        value = self._known(name)
        if value is None:
            return self._worked_out(said, None if decimals is True else decimals)
        plain = self._plain(value)
        if plain is None:
            hint = "say `as: decimal` or `as: digits` in the field"
            said.where.tell(self._problems, "value", expected="a field that holds a number", saw=name, hint=hint)
            return None
        if decimals is True:
            return plain
        return self._rounded(value, decimals) if value.kind == "float" else _with_decimals(plain, decimals)

    def _plain(self, value: Value) -> FrameReader | None:
        """What answers a field's own digits; None where it is none that has any."""
        if value.kind == "digits":
            special = self._special(value.name)
            return _of_text(told(value), special, value.field) if value.field and value.field.special else told(value)
        if value.kind == "int":
            return _digits(self._number(value), Digits, value)
        if value.kind == "float":
            return _digits(self._number(value), shortest(value.bits == 32), value)
        return None

    def _number(self, value: Value) -> FrameReader:
        """What answers a field that is an int or a float; it raises the special value that stands there instead."""
        read, special, is_float = told(value), self._special(value.name), value.kind == "float"

        def number(view: View) -> float | int:
            found = read(view)
            row = special(view, code_of_float(found) if is_float else found)
            if row is not None:
                raise _Special(value.name, row)
            if isinstance(found, bytes):
                raise NotBelieved(reason(value.name, f"no meaning for {shown(found)} here"))
            if is_float and not -1e15 < found < 1e15:
                raise NotBelieved(reason(value.name, "no number"))
            return found  # type: ignore[no-any-return]

        return number

    def _rounded(self, value: Value, decimals: FrameReader) -> FrameReader:
        """What answers a float's digits, rounded to so many behind the point."""
        number = self._number(value)

        def digits(view: View) -> Digits:
            places = decimals(view)
            try:
                return limited(_to(Fraction(number(view)), places), value.title)
            except _Special as special:
                return Digits(0, 0, special=special.row)

        return digits

    def _decimals(self, said: Shows) -> FrameReader | bool:
        """What answers the digits behind the point that a reading says; True where it says none, False when wrong."""
        text = said.decimals
        if not text:
            return True
        if re.fullmatch(r"-?[0-9]{1,9}", text):
            number = int(text)
            if -9 <= number <= 15:
                return lambda view: number
            said.where.tell(self._problems, "decimals", expected="from -9 to 15", saw=text)
            return False
        worked = self._evaluator(said, "decimals", text)
        if worked is None:
            return False
        if arithmetic.decimals_of(arithmetic.parse(text), self._is_whole) != 0:
            said.where.tell(self._problems, "decimals", expected="arithmetic that gives whole numbers", saw=text)
            return False

        def decimals(view: View) -> int:
            try:
                places = int(worked(view))
            except _Special:
                raise NotBelieved(LOST_POINT) from None
            if not -9 <= places <= 15:
                raise NotBelieved(LOST_POINT)
            return places

        return decimals

    # -- arithmetic ------------------------------------------------------------------

    def _is_whole(self, name: str) -> bool:
        value = self._known(name)
        return value is not None and value.kind == "int"

    def _worked_out(self, said: Shows, decimals: FrameReader | None) -> FrameReader | None:
        """Whole numbers are counts, as a field's are; others are rounded to the decimals said."""
        text = said.value
        worked = self._evaluator(said, "value", text)
        if worked is None:
            return None
        own = arithmetic.decimals_of(arithmetic.parse(text), self._is_whole)
        if own is None and decimals is None:
            expected = "the key 'decimals': how many digits to show of what divides, or has fields with a point"
            said.where.tell(self._problems, expected=expected, saw="no such key")
            return None

        def digits(view: View) -> Digits:
            places = own if decimals is None else decimals(view)
            try:
                number = worked(view)
            except _Special as special:
                return Digits(0, places, special=(special.name, special.row))
            if decimals is not None and own == 0:
                return limited(Digits(int(number), places), text)
            assert places is not None
            return limited(_to(number, places), text)

        return digits

    def _evaluator(self, said: Shows, key: str, text: str) -> Callable[[View], Fraction] | None:
        try:
            tree = arithmetic.parse(text)
            unknown = [name for name in operands(text) if self._known(name) is None]
            if unknown:
                hint = near_miss(unknown[0], self._fields)
                said.where.tell(self._problems, key, expected="fields of this message", saw=unknown[0], hint=hint)
                return None
            return arithmetic.evaluator(tree, self._operand)
        except ValueError as error:
            said.where.tell(
                self._problems, key, expected="a field, or arithmetic over fields", saw=text, hint=str(error)
            )
            return None

    def _operand(self, name: str) -> FrameReader:
        """What answers a field as a number; where it is none, what raises the special value that it is."""
        value = self._known(name)
        assert value
        plain = self._plain(value)
        if plain is None:
            raise ValueError(f"{name} is no number: say `as: decimal` or `as: digits`")
        if value.kind in ("int", "float"):
            number = self._number(value)
            return lambda view: Fraction(number(view))

        def operand(view: View) -> Fraction:
            digits: Digits = plain(view)
            if digits.special is not None:
                raise _Special(name, digits.special)
            return Fraction(digits.counts) / Fraction(10) ** (digits.decimals or 0)

        return operand


class _Special(Exception):
    """A field is no number but one of its special values."""

    def __init__(self, name: str, row: Hashable) -> None:
        super().__init__(name, row)
        self.name, self.row = name, row


def told(value: Value) -> FrameReader:
    """What answers a field; of one that an earlier message keeps, where that has told it."""
    if not value.is_kept:
        return value.read
    read, why = value.read, Untold(f"nothing has told {value.name} yet")

    def kept(view: View) -> object:
        found = read(view)
        if found is None:
            raise NotBelieved(why)
        return found

    return kept


def _with_decimals(plain: FrameReader, decimals: FrameReader) -> FrameReader:
    """Digits whose point the reading says, where they have none of their own."""

    def digits(view: View) -> Digits:
        found: Digits = plain(view)
        return found if found.decimals or found.special is not None else found._replace(decimals=decimals(view))

    return digits


def _digits(number: FrameReader, digits: Callable[[Any], Digits], value: Value) -> FrameReader:
    """What answers the digits of a number, or the special value that stands there instead."""

    def read(view: View) -> Digits:
        try:
            return limited(digits(number(view)), value.title)
        except _Special as special:
            return Digits(0, 0, special=special.row)

    return read


def _of_text(read: FrameReader, special: SpecialRow, field: Field) -> FrameReader:
    """What answers the digits of a text or a display: a special value where it is one in this frame."""
    numbers = frozenset(special_numbers(field).values())

    def digits(view: View) -> Digits:
        found: Digits = read(view)
        if found.special is None:
            return found
        row = special(view, found.special)
        if row is None and found.special not in numbers:
            raise NotBelieved(f"no meaning for {shown(found.special)} here")
        return found._replace(special=None) if row is None else Digits(0, 0, special=row)

    return digits


def _to(number: Fraction, decimals: int) -> Digits:
    """A number rounded to so many digits behind the point, halves to the even one."""
    return Digits(round(number * Fraction(10) ** decimals), decimals)
