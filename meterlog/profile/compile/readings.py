"""The number of a reading: a field's, or what arithmetic over fields comes to, as digits."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from meterlog.base.source import near_miss
from meterlog.conversation.reasons import Untold
from meterlog.profile.compile import arithmetic
from meterlog.profile.compile.arithmetic import operands
from meterlog.profile.compile.codes import code_of_float
from meterlog.profile.compile.meaning import shown
from meterlog.profile.compile.numbers import Digits, limited, shortest, special_numbers
from meterlog.profile.compile.values import OWN, reason
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
        read, name = told(value), "" if value.name.startswith(OWN) else value.name
        special = self._special(value.name)
        if value.kind == "digits":
            return _of_text(read, special, value.field, name) if value.field and value.field.special else read
        if value.kind == "int":
            return lambda view: _of_whole(view, read(view), special, name)
        if value.kind == "float":
            digits = shortest(value.bits == 32)
            return lambda view: _of_float(view, read(view), special, name, digits)
        return None

    def _rounded(self, value: Value, decimals: FrameReader) -> FrameReader:
        """What answers a float's digits, rounded to so many behind the point."""
        read, special = told(value), self._special(value.name)
        name = "" if value.name.startswith(OWN) else value.name

        def digits(view: View) -> Digits:
            places = decimals(view)
            return _of_float(view, read(view), special, name, lambda n: _to(Fraction(n), places))

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
                return Digits(0, places, special=special.what)
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
        read, special = told(value), self._special(name)
        if value.kind == "float":
            return lambda view: _fraction_of_float(view, read(view), special, name)
        if value.kind == "int":
            return lambda view: _fraction_of_whole(view, read(view), special, name)

        def operand(view: View) -> Fraction:
            digits: Digits = plain(view)
            if digits.special is not None:
                raise _Special((name, digits.special))
            return Fraction(digits.counts) / Fraction(10) ** (digits.decimals or 0)

        return operand


class _Special(Exception):
    """A field of arithmetic is no number but one of its special values, (its name, the value)."""

    def __init__(self, what: tuple[str, Hashable]) -> None:
        super().__init__(what)
        self.what = what


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


def _of_text(read: FrameReader, special: SpecialRow, field: Field, name: str) -> FrameReader:
    """What answers the digits of a text or a display: a special value where it is one in this frame."""
    numbers = frozenset(special_numbers(field).values())

    def digits(view: View) -> Digits:
        found: Digits = read(view)
        if found.special is None:
            return found
        row = special(view, found.special)
        if row is None and found.special not in numbers:
            raise NotBelieved(reason(name, f"no meaning for {shown(found.special)} here"))
        return found._replace(special=None) if row is None else Digits(0, 0, special=row)

    return digits


def _of_whole(view: View, number: int | bytes, special: SpecialRow, name: str) -> Digits:
    row = special(view, number)
    if row is not None:
        return Digits(0, special=row)
    return limited(Digits(_whole(number, name)), name)


def _whole(number: int | bytes, name: str) -> int:
    """A whole number. Raises: NotBelieved for a special value that is none in this frame."""
    if isinstance(number, bytes):
        raise NotBelieved(reason(name, f"no meaning for {shown(number)} here"))
    return number


def _of_float(view: View, number: float, special: SpecialRow, name: str, digits: Callable[[float], Digits]) -> Digits:
    row = special(view, code_of_float(number))
    if row is not None:
        return Digits(0, 0, special=row)
    return limited(digits(_finite(number, name)), name)


def _finite(number: float, name: str) -> float:
    if not -1e15 < number < 1e15:
        raise NotBelieved(reason(name, "no number"))
    return number


def _fraction_of_float(view: View, number: float, special: SpecialRow, name: str) -> Fraction:
    row = special(view, code_of_float(number))
    if row is not None:
        raise _Special((name, row))
    return Fraction(_finite(number, name))


def _fraction_of_whole(view: View, number: int | bytes, special: SpecialRow, name: str) -> Fraction:
    row = special(view, number)
    if row is not None:
        raise _Special((name, row))
    return Fraction(_whole(number, name))


def _to(number: Fraction, decimals: int) -> Digits:
    """A number rounded to so many digits behind the point, halves to the even one."""
    return Digits(round(number * Fraction(10) ** decimals), decimals)
