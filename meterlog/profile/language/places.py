"""How a profile writes bytes and places in them, read from text.

<STX>READ?<CR><LF>     a text with control characters by name
hex 55 AA 01           bytes in hex
3..6, -2..-1           a span of bytes, both ends included; negative counts from the end
2.3, 2.2..0 3.3..0     bit 3 of byte 2; bits of several bytes, the most significant first
"""

from __future__ import annotations

import re
from dataclasses import dataclass

CONTROLS = {
    "NUL": 0, "SOH": 1, "STX": 2, "ETX": 3, "EOT": 4, "ENQ": 5, "ACK": 6, "BEL": 7, "BS": 8, "HT": 9, "TAB": 9,
    "LF": 10, "VT": 11, "FF": 12, "CR": 13, "SO": 14, "SI": 15, "DLE": 16, "DC1": 17, "XON": 17, "DC2": 18,
    "DC3": 19, "XOFF": 19, "DC4": 20, "NAK": 21, "SYN": 22, "ETB": 23, "CAN": 24, "EM": 25, "SUB": 26, "ESC": 27,
    "FS": 28, "GS": 29, "RS": 30, "US": 31, "SP": 32, "DEL": 127,
}  # fmt: skip
"""Control characters by the names that manual pages print."""

_CONTROL = re.compile(r"<(0x[0-9A-Fa-f]{2}|[A-Z][A-Z0-9]{1,3})>|\\([rnt0\\])")
_ESCAPES = {"r": "\r", "n": "\n", "t": "\t", "0": "\0", "\\": "\\"}
_SPAN = re.compile(r"(-?\d{1,4})(?:\.\.(-?\d{1,4}))?")
_BIT = re.compile(r"(-?\d{1,4})\.([0-7])(?:\.\.([0-7]))?")


def characters(text: str) -> str:
    """A text with its named control characters put in; one character a byte, Ω and the like as UTF-8.

    >>> characters("OK<CR><LF>")
    'OK\\r\\n'
    """

    def put(match: re.Match[str]) -> str:
        name, escape = match.groups()
        if escape:
            return _ESCAPES[escape]
        if name.startswith("0x"):
            return chr(int(name, 16))
        return chr(CONTROLS[name]) if name in CONTROLS else str(match[0])

    out = _CONTROL.sub(put, text)
    return "".join(c if ord(c) < 256 else c.encode().decode("latin-1") for c in out)


def parse_bytes(text: str) -> bytes:
    """The bytes of `hex 55 AA` or of a text. Raises: ValueError with a hint."""
    if re.match(r"hex\b", text):
        packed = re.sub(r"\s", "", text[3:])
        if not packed or len(packed) % 2 or not re.fullmatch(r"[0-9A-Fa-f]+", packed):
            raise ValueError("after `hex`, two hex digits for each byte")
        return bytes.fromhex(packed)
    if not text:
        raise ValueError("at least one byte")
    return characters(text).encode("latin-1")


@dataclass(frozen=True, slots=True)
class Span:
    """Bytes first..last of a frame, as the profile writes them, both included."""

    first: int
    last: int

    def __str__(self) -> str:
        return f"{self.first}..{self.last}" if self.first != self.last else str(self.first)


def parse_span(text: str) -> Span:
    match = _SPAN.fullmatch(text.strip())
    if not match:
        raise ValueError("write 3, or 3..6 with both ends included; -1 is the last byte")
    first = int(match[1])
    last = int(match[2]) if match[2] else first
    if (first < 0) == (last < 0) and last < first:
        raise ValueError(f"the first comes first: {last}..{first}")
    return Span(first, last)


@dataclass(frozen=True, slots=True)
class Bits:
    """Bits high..low of one byte."""

    byte: int
    high: int
    low: int

    @property
    def width(self) -> int:
        return abs(self.high - self.low) + 1

    def __str__(self) -> str:
        return f"{self.byte}.{self.high}" + (f"..{self.low}" if self.high != self.low else "")


def parse_bits(text: str) -> tuple[Bits, ...]:
    """Bits of bytes, the most significant first: "2.2..0 3.3..0" is seven bits of bytes 2 and 3."""
    places = []
    for word in text.split():
        match = _BIT.fullmatch(word)
        if not match:
            raise ValueError("write BYTE.BIT, such as 2.3, or BYTE.HIGH..LOW, such as 2.3..0; bit 0 is the smallest")
        high = int(match[2])
        places.append(Bits(int(match[1]), high, int(match[3]) if match[3] else high))
    if not places:
        raise ValueError("at least one bit")
    return tuple(places)


def parse_bit_range(text: str) -> tuple[int, int]:
    """(high, low) of "7..4" or "3", within a number that is already placed."""
    match = re.fullmatch(r"(\d{1,2})(?:\.\.(\d{1,2}))?", text.strip())
    if not match:
        raise ValueError("write 7..4 or 3; bit 0 is the smallest")
    one, other = int(match[1]), int(match[2] or match[1])
    return max(one, other), min(one, other)


def parse_code(text: str) -> int:
    """A code in a table: 59, 0x3B or 0b111011."""
    if not re.fullmatch(r"-?\d{1,20}|0x[0-9A-Fa-f]{1,16}|0b[01]{1,64}", text):
        raise ValueError("write a whole number, 0x3B or 0b0011; for a character say `as: text` in the field")
    return int(text, 0) if text[:2] in ("0x", "0b") else int(text)
