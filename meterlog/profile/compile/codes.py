"""Codes as a profile writes them, to what the reader of their field answers."""

from __future__ import annotations

import re
import struct
from typing import TYPE_CHECKING

from meterlog.profile.compile.numbers import word_code
from meterlog.profile.language.kinds import parse_kind
from meterlog.profile.language.places import parse_code

if TYPE_CHECKING:
    from collections.abc import Hashable

    from meterlog.profile.compile.values import Value
    from meterlog.profile.language.content import Field


NOT_A_NUMBER = "nan"
"""The code of every float that is no number; no two of them are equal."""


def code_key(value: Value, text: str) -> Hashable:
    """A code of a table as a reader answers it. Raises: ValueError with a hint."""
    if value.kind == "int":
        field = value.field
        in_figures = field is not None and re.match("(unpacked )?bcd|digits", field.kind)
        if field is not None and in_figures and not re.fullmatch(r"-?\d+", text):
            return figures_code(field, text)
        if field is not None and field.kind.endswith("hex") and re.fullmatch(r"[0-9A-Fa-f]+", text):
            return _signed(int(text, 16), 4 * len(text), value.sign)
        return _signed(parse_code(text), value.bits, value.sign if text[:2] in ("0x", "0b") else "")
    return _float_code(text, value.bits) if value.kind == "float" else word_code(text)


def _float_code(text: str, bits: int) -> float | str:
    """The float that a special value is, rounded as the frame holds it."""
    if not re.fullmatch(r"[-+]?(inf|nan|\d+\.?\d*([eE][-+]?\d{1,3})?)", text):
        raise ValueError("write a number such as 9.9E37, inf, -inf or nan")
    form = ">f" if bits == 32 else ">d"
    try:
        number = float(struct.unpack(form, struct.pack(form, float(text)))[0])
    except OverflowError:
        raise ValueError(f"no number of {bits} bits is so large") from None
    return number if number == number else NOT_A_NUMBER


def _signed(pattern: int, bits: int, sign: str) -> int:
    """The number that a pattern of bits is, as manuals print codes: 0x8001 of `i16` is -32767."""
    if not sign or pattern >> bits - 1 != 1:
        return pattern
    if sign == "i":
        return pattern - (1 << bits)
    if pattern == 1 << bits - 1:
        raise ValueError("it is read as 0: the top bit is the sign")
    return (1 << bits - 1) - pattern


def figures_code(field: Field, text: str) -> bytes:
    """A special value in figures; of BCD in hex, such as FFFFFF or 0xffffff.

    Raises: ValueError where it can be no such value.
    """
    if "bcd" not in field.kind:
        return word_code(text)
    figures = text.removeprefix("0x").lower()
    blank = parse_kind(field.kind).blank
    if blank and not figures.strip(blank):
        return b""
    if not re.fullmatch(r"[0-9a-f]{1,18}", figures):
        raise ValueError("of BCD a special value is written in its hex digits, such as FFFFFF")
    return figures.encode()


def code_of_float(number: float) -> float | str:
    """A float as the code of a special value: one word for all that are no number."""
    return number if number == number else NOT_A_NUMBER
