"""The words after `as`: how bytes are read.

u8 u16 … u64, i8 … i64, sm8 … sm64   whole numbers; i: two's complement, sm: the top bit is the sign
f32, f64                             IEEE 754
    each with big, little, or the order of the bytes in letters, A the most significant: CDAB
bcd, bcd little                      two decimal figures a byte
unpacked bcd, unpacked bcd little    one decimal figure a byte, in its lower half
    each with blank F, where leading places that show nothing hold F
digits, digits little                decimal figures as text; little: the last figure comes first
hex, signed hex                      a number in hex as text; signed: two's complement of its digits
decimal, decimal 3.1, signed decimal   a number as text, with its point
decimal comma, decimal comma 3.1     the same, with a comma for the point
decimal *.2                          any figures, then exactly two behind the point
decimal to 2                         figures behind the second are zeros and are dropped
text                                 a code as text, blanks around it taken off
words                                words in any order, parted by blanks, commas, semicolons, bars or slashes
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

WORDS = (
    "bcd", "bcd little", "unpacked bcd", "unpacked bcd little", "digits", "digits little", "hex", "signed hex",
    "decimal", "signed decimal", "decimal comma", "signed decimal comma", "text", "words",
)  # fmt: skip
_BINARY = re.compile(r"(u|i|sm|f)(8|16|24|32|40|48|56|64)(?: (big|little|[A-H]{2,8}))?")
_BCD = re.compile(r"((?:unpacked )?bcd(?: little)?)(?: blank ([A-F]))")
_FIXED = re.compile(r"(signed )?decimal( comma)? (\d{1,2}|\*)\.(\d{1,2})")
_CUT = re.compile(r"((?:signed )?decimal(?: comma)?) to (\d)")


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberKind:
    """How bytes are read.

    Attributes:
        name: u, i, sm, f, bcd, unpacked bcd, digits, hex, decimal, text.
        size: bytes of a binary number, None where the place says it.
        order: big, little or letters.
        signed: a decimal must show its sign.
        before, after: digits of a decimal of fixed form. point: what parts them.
        most: digits behind the point of a decimal, where those behind are dropped zeros.
        blank: of BCD, what leading places hold that show nothing, a small letter; "" for none.
    """

    name: str
    size: int | None = None
    order: str = "big"
    signed: bool = False
    before: int | None = None
    after: int | None = None
    point: str = "."
    blank: str = ""
    most: int | None = None

    @property
    def is_number_text(self) -> bool:
        return self.name == "decimal"


def parse_kind(text: str, size: int | None = None) -> NumberKind:
    """The kind of a field, whose place has `size` bytes. Raises: ValueError with a hint."""
    if not text:
        if size in (None, 1):
            return NumberKind(name="u", size=1)
        raise ValueError(f"write such as `as: u{8 * (size or 2)} big`")
    match = _BINARY.fullmatch(text)
    if match:
        return _binary(match, size)
    fixed = _FIXED.fullmatch(text)
    if fixed:
        point = "," if fixed[2] else "."
        before = None if fixed[3] == "*" else int(fixed[3])
        return NumberKind(name="decimal", signed=bool(fixed[1]), before=before, after=int(fixed[4]), point=point)
    cut = _CUT.fullmatch(text)
    if cut:
        return replace(parse_kind(cut[1], size), most=int(cut[2]))
    blanked = _BCD.fullmatch(text)
    if blanked:
        return replace(parse_kind(blanked[1], size), blank=blanked[2].lower())
    if text not in WORDS:
        from meterlog.base.source import near_miss

        known = [
            *WORDS,
            "u8",
            "u16 big",
            "u16 little",
            "i16 big",
            "u32 big",
            "f32 big",
            "f32 CDAB",
            "decimal 3.1",
            "decimal *.2",
            "bcd blank F",
        ]
        raise ValueError(near_miss(text, known))
    order = "little" if text.endswith(" little") else "big"
    name = text.removeprefix("signed ").removesuffix(" little").removesuffix(" comma")
    point = "," if text.endswith(" comma") else "."
    return NumberKind(name=name, signed=text.startswith("signed"), order=order, point=point)


def _binary(match: re.Match[str], size: int | None) -> NumberKind:
    name, bits, order = match[1], int(match[2]), match[3]
    count = bits // 8
    if name == "f" and bits not in (32, 64):
        raise ValueError("f32 or f64")
    if size is not None and size != count:
        raise ValueError(f"{match[1]}{bits} takes {count} bytes, the place has {size}")
    if count > 1 and not order:
        raise ValueError(f"which byte comes first: {match[0]} big, {match[0]} little or the order's letters")
    letters = "ABCDEFGH"[:count]
    if order and order not in ("big", "little") and sorted(order) != list(letters):
        raise ValueError(f"each of {letters} once, A the most significant")
    return NumberKind(name=name, size=count, order=order or "big")
