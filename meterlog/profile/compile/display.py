"""Seven-segment displays: figures, points and a minus to digits."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.profile.compile.layout import gathered
from meterlog.profile.compile.numbers import Digits, word_code
from meterlog.profile.compile.segments import segment_table
from meterlog.profile.compile.view import NotBelieved
from meterlog.profile.language.places import Bits

if TYPE_CHECKING:
    from meterlog.profile.compile.values import Values
    from meterlog.profile.compile.view import FrameReader, View
    from meterlog.profile.language.content import Field

_FIGURES = re.compile(r"(-?) *(?=\.?\d)(\d*)(?:\.(\d*))?")
NO_NUMBER = "the display shows no figures that make a number"


def is_sound(values: Values, field: Field) -> bool:
    """Whether the parts of a display field fit each other; tells where not."""
    problems, before = values.problems, len(values.problems)
    if not field.segments:
        field.where.tell(problems, expected="the key 'segments': the letter of each bit", saw="digits without segments")
        return False
    if len(set(field.segments) - {"-"}) != 7 or len(field.segments.replace("-", "")) != 7:
        field.where.tell(problems, "segments", expected="each of the letters a to g once", saw=field.segments)
    for place, bits in enumerate(field.digits, start=1):
        width = sum(bit.width for bit in bits)
        if width != len(field.segments):
            field.where.tell(
                problems,
                "digits",
                expected=f"{len(field.segments)} bits for each digit, as in `segments`",
                saw=f"{width} bits for digit {place}",
            )
        values.reach(field.where, [bit.byte for bit in bits])
    if len(field.points) > len(field.digits):
        field.where.tell(
            problems, "points", expected="at most one point for each digit", saw=f"{len(field.points)} points"
        )
    for bits in [*field.points, field.minus or ()]:
        values.reach(field.where, [bit.byte for bit in bits])
    return len(problems) == before


def display(values: Values, field: Field) -> FrameReader:
    """What reads a display field's digits."""
    field = _lit_only(field)
    table = segment_table(field.segments)
    words = {look(word): word_code(word) for word in field.special_words}
    digits = [gathered(values.layout, bits) for bits in field.digits]
    points = [gathered(values.layout, bits) for bits in field.points]
    minus = gathered(values.layout, field.minus) if field.minus else None

    def read(view: View) -> Digits:
        frame = view.frame
        figures = [table.get(digit(frame)) for digit in digits]
        if None in figures:
            raise NotBelieved(NO_NUMBER)
        word = words.get(look("".join(figure or "" for figure in figures))) if words else None
        if word is not None:
            return Digits(0, 0, special=word)
        lit = [place for place, point in enumerate(points) if point(frame)]
        if len(lit) > 1:
            raise NotBelieved("the display shows more than one point")
        if lit:
            figures.insert(lit[0] + 1, ".")
        match = _FIGURES.fullmatch(("-" if minus is not None and minus(frame) else "") + "".join(map(str, figures)))
        if not match:
            raise NotBelieved(NO_NUMBER)
        sign, before, after = match.groups(default="")
        counts = int(before + after)
        return Digits(-counts if sign else counts, len(after), len(before), bool(sign) and not counts)

    return read


def _lit_only(field: Field) -> Field:
    """The field without the bits of its digits that light no segment, as far as they are as many as its letters."""
    digits = []
    for bits in field.digits:
        each = [Bits(part.byte, bit, bit) for part in bits for bit in range(part.high, part.low - 1, -1)]
        if len(each) != len(field.segments):
            return field
        digits.append(_joined([bit for bit, letter in zip(each, field.segments, strict=True) if letter != "-"]))
    return replace(field, digits=tuple(digits), segments=field.segments.replace("-", ""))


def _joined(bits: list[Bits]) -> tuple[Bits, ...]:
    """Single bits with neighbours of one byte put together."""
    out: list[Bits] = []
    for bit in bits:
        if out and (out[-1].byte, out[-1].low - 1) == (bit.byte, bit.high):
            out[-1] = Bits(bit.byte, out[-1].high, bit.low)
        else:
            out.append(bit)
    return tuple(out)


def look(word: str) -> str:
    """A word as seven segments can show it: O is 0, S is 5, I is 1, and capital and small letters are alike.

    >>> look("OL"), look("Err"), look(" 0PEn ")
    ('0L', 'ERR', '0PEN')
    """
    return word.strip().replace("l", "1").upper().translate(str.maketrans("OSI", "051"))
