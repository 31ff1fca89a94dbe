"""Decimal texts: their pattern, and the digits that they show."""

from __future__ import annotations

import re
import struct
from typing import TYPE_CHECKING, NamedTuple

from meterlog.base.readings import COUNTS_LIMIT
from meterlog.profile.compile.view import NotBelieved
from meterlog.profile.language.places import characters

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Mapping

    from meterlog.profile.language.content import Field
    from meterlog.profile.language.kinds import NumberKind

NUMBER = rb" *+([-+]?) *+(?=\.?\d)(\d{0,15}+)(?:\.|(?!\d))(\d{0,15}+)(?:[eE]([-+]?\d{1,2}))? *+"
"""A decimal text in four groups: sign, digits before the point, after it, exponent."""
_NUMERIC = re.compile(NUMBER.decode())
TOO_MANY = "more digits than can be kept exactly"
Groups = tuple[bytes | None, ...]


class Digits(NamedTuple):
    """What a number shows.

    Attributes:
        counts: the number in whole steps of its last digit.
        decimals: digits behind its point; None where it says nothing of a point.
        width: digits before the point that are always shown.
        minus_zero: a minus stands before zeros only.
        special: the special value that stands there in place of a number, which the others show where it is one.
    """

    counts: int
    decimals: int | None = None
    width: int = 1
    minus_zero: bool = False
    special: Hashable = None


def number_pattern(field: Field | None, kind: NumberKind) -> bytes:
    """The pattern of a decimal text in five groups: those of NUMBER, and a special word."""
    number = NUMBER
    if kind.after is not None:
        after = rb"\.(\d{%d})" % kind.after if kind.after else b"()"
        before = rb"(\d{%d})" % kind.before if kind.before is not None else rb"(\d{1,15}+)"
        number = rb" *+([-+]?)" + before + after + b"((?!))?"
    if kind.signed:
        number = number.replace(b"[-+]?", b"[-+]", 1)
    number = number.replace(rb"\.", re.escape(kind.point.encode()))
    words = [re.escape(word_code(word)) for word in _special_words(field)] if field else []
    return rb"(?:%s| *+(%s) *+)" % (number, b"|".join(words) if words else b"(?!)")


def digits_of(name: str, field: Field | None, kind: NumberKind) -> Callable[[Groups], Digits]:
    """What answers the digits of a decimal text from its five groups."""
    numbers = special_numbers(field) if field else {}
    width, fixed = kind.before, kind.before is not None

    def digits(groups: Groups) -> Digits:
        sign, before, after, exponent, word = groups
        if word is not None:
            return Digits(0, 0, special=word)
        assert before is not None
        assert after is not None
        counts, decimals = int(before + after), len(after) - int(exponent or 0)
        if counts >= COUNTS_LIMIT:
            raise NotBelieved(f"{name}: {TOO_MANY}" if name else TOO_MANY)
        if kind.most is not None and decimals > kind.most:
            counts, rest = divmod(counts, 10 ** (decimals - kind.most))
            decimals = kind.most
            if rest:
                words = f"a figure that is no zero behind the {kind.most} that are shown"
                raise NotBelieved(f"{name}: {words}" if name else words)
        minus = sign == b"-"
        if numbers and (special := numbers.get(trimmed(-counts if minus else counts, decimals))) is not None:
            return Digits(-counts if minus else counts, decimals, special=special)
        shown = width if fixed else len(before) if before[:1] == b"0" or not before else 1
        assert shown is not None
        return Digits(-counts if minus else counts, decimals, shown, minus and not counts)

    return digits


def limited(digits: Digits, name: str) -> Digits:
    """The digits. Raises: NotBelieved where they are too many."""
    if not -COUNTS_LIMIT < digits.counts < COUNTS_LIMIT:
        raise NotBelieved(f"{name}: {TOO_MANY}" if name else TOO_MANY)
    return digits


def _special_words(field: Field) -> list[str]:
    return [word for word in field.special_words if not _numeric(field, word)]


def _numeric(field: Field, word: str) -> re.Match[str] | None:
    """A special value that is written as a number, in its groups."""
    return _NUMERIC.fullmatch(word.replace(",", ".") if "comma" in field.kind else word)


def special_numbers(field: Field) -> Mapping[tuple[int, int], bytes]:
    """Special values that are written as numbers, such as 9.9E37, by their trimmed (counts, decimals)."""
    found = {}
    for word in field.special_words:
        match = _numeric(field, word)
        if match:
            sign, before, after, exponent = match.groups()
            counts = int(before + after) * (-1 if sign == "-" else 1)
            found[trimmed(counts, len(after) - int(exponent or 0))] = word_code(word)
    return found


def trimmed(counts: int, decimals: int) -> tuple[int, int]:
    """The same number without zeros at its end.

    >>> trimmed(99000, 3), trimmed(0, 5)
    ((99, 0), (0, 0))
    """
    if not counts:
        return 0, 0
    while counts % 10 == 0:
        counts, decimals = counts // 10, decimals - 1
    return counts, decimals


def shortest(single: bool) -> Callable[[float], Digits]:
    """What answers the shortest decimal that is the same binary float, of 32 bits or of 64."""

    def digits(value: float) -> Digits:
        text = repr(value)
        if single:
            for figures in range(6, 10):
                text = f"{value:.{figures}g}"
                if struct.unpack("f", struct.pack("f", float(text)))[0] == value:
                    break
        mantissa, _, exponent = text.partition("e")
        whole, _, part = mantissa.partition(".")
        decimals = len(part) - int(exponent or 0)
        counts = int(whole + part)
        return Digits(counts, decimals) if decimals >= 0 else Digits(counts * 10**-decimals, 0)

    return digits


def word_code(text: str) -> bytes:
    """A code that is a text, as the bytes of it without blanks around."""
    return characters(text).strip().encode("latin-1")
