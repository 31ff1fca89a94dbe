"""Sums, exclusive ors and cyclic redundancy checks over the bytes of a frame.

A kind of check is one row of `KINDS`: whatever proves a frame, appends a check to a request, tells its risk or names
it in a message comes here. What is linear (exclusive ors and CRCs) is worked out by a table for each place.

Sources: sums with the carry added back, RFC 1071, 1 and 4.1; Fletcher's sums, RFC 1146; Adler's, RFC 1950, 8.2; the
CRCs, the catalogue of parametrised CRC algorithms as `crccheck` holds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import crccheck.crc

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

TABLED_LENGTH = 64
"""Frames up to this length are proved by look-up where a check is linear; longer ones byte by byte."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """A way to prove bytes.

    Attributes:
        kind: one of KINDS, a name of the CRC catalogue in lower case, or "crc" with its parameters.
        turn: "" as it is; "negated" (two's complement), "inverted" (one's complement).
        init: what it starts from; None: the kind's own.
        plus, mask: added at the end, then only these bits are kept (None: all of the width).
        modulo: what is left of a sum when it is divided by this; None: its width alone counts.
    """

    kind: str
    turn: str = ""
    init: int | None = None
    plus: int = 0
    mask: int | None = None
    modulo: int | None = None
    width: int | None = None
    poly: int | None = None
    reflect_in: bool = False
    reflect_out: bool = False
    xor_out: int = 0

    @property
    def bits(self) -> int:
        """Bits of the result."""
        return KINDS[self.kind].bits if self.kind in KINDS else int(_crc(self).width())

    @property
    def values(self) -> int:
        """How many different results there are."""
        if self.modulo is not None:
            return self.modulo
        return 1 << (self.bits if self.mask is None else self.mask.bit_count())

    @property
    def sees_order(self) -> bool:
        """Whether it differs when bytes change places."""
        return self.kind not in KINDS or KINDS[self.kind].sees_order


class CheckKind(NamedTuple):
    """A kind of check: bits of its result, what works it out from (bytes, start), and what it starts from.

    `is_linear`: the exclusive or of two frames has the exclusive or of their checks (but for the start).
    """

    bits: int
    work_out: Callable[[bytes, int], int]
    init: int = 0
    is_linear: bool = False
    sees_order: bool = False


def _exclusive_or(parts: Iterable[int], value: int) -> int:
    for part in parts:
        value ^= part
    return value


def words(data: bytes) -> list[int]:
    """The 16-bit words of bytes, the high byte first; an odd last byte is a high one.

    >>> words(bytes((0, 1, 0xF2)))
    [1, 61952]
    """
    return [high << 8 | low for high, low in zip(data[::2], data[1::2] + b"\0", strict=False)]


def _carried(value: int, bits: int) -> int:
    """A sum whose carries are added back."""
    while value >> bits:
        value = (value & (1 << bits) - 1) + (value >> bits)
    return value


def _two_sums(data: bytes, start: int, modulo: int, bits: int) -> int:
    """A sum of the bytes, and above it the sum of that sum as it went."""
    low, high = start & (1 << bits) - 1, start >> bits
    for byte in data:
        low = (low + byte) % modulo
        high = (high + low) % modulo
    return high << bits | low


KINDS: dict[str, CheckKind] = {
    "sum-8": CheckKind(8, lambda data, init: init + sum(data)),
    "sum-16": CheckKind(16, lambda data, init: init + sum(data)),
    "sum-32": CheckKind(32, lambda data, init: init + sum(data)),
    "word-sum-16": CheckKind(16, lambda data, init: init + sum(words(data))),
    "carry-sum-8": CheckKind(8, lambda data, init: _carried(init + sum(data), 8)),
    "carry-sum-16": CheckKind(16, lambda data, init: _carried(init + sum(words(data)), 16)),
    "xor-8": CheckKind(8, _exclusive_or, is_linear=True),
    "xor-16": CheckKind(16, lambda data, init: _exclusive_or(words(data), init), is_linear=True),
    "fletcher-16": CheckKind(16, lambda data, init: _two_sums(data, init, 255, 8), sees_order=True),
    "adler-32": CheckKind(32, lambda data, init: _two_sums(data, init, 65521, 16), init=1, sees_order=True),
}
"""Every kind but the CRCs, by the word that a profile says."""


@lru_cache(maxsize=1)
def catalogue() -> dict[str, Any]:
    """The CRCs that are known by name, in small letters."""
    return {name.lower(): made for made in crccheck.crc.ALLCRCCLASSES for name in made._names}


@lru_cache(maxsize=64)
def _crc(said: Sum) -> Any:
    """The catalogue's class of a CRC, or one made from parameters."""
    if said.kind == "crc":
        return crccheck.crc.crccls(
            said.width, said.poly, said.init or 0, said.reflect_in, said.reflect_out, said.xor_out
        )
    made = catalogue()[said.kind]
    if said.init is None:
        return made
    return crccheck.crc.crccls(
        made._width, made._poly, said.init, made._reflect_input, made._reflect_output, made._xor_output
    )


def _plainly(said: Sum, data: bytes) -> int:
    """The check before it is turned, added to, divided and masked."""
    if said.kind not in KINDS:
        return int(_crc(said).calc(data))
    kind = KINDS[said.kind]
    return kind.work_out(data, kind.init if said.init is None else said.init)


def _finish(said: Sum, value: int) -> int:
    size = said.modulo or 1 << said.bits
    if said.turn == "negated":
        value = -value
    elif said.turn == "inverted":
        value = size - 1 - value % size
    value = (value + said.plus) % size
    return value if said.mask is None else value & said.mask


def calculation(said: Sum) -> Callable[[bytes], int]:
    """The check as a function of the bytes that it proves."""
    if said.kind in KINDS and not KINDS[said.kind].is_linear:
        return lambda data: _finish(said, _plainly(said, data))
    tables: dict[int, tuple[int, list[list[int]]]] = {}

    def calculate(data: bytes) -> int:
        length = len(data)
        if length > TABLED_LENGTH:
            return _finish(said, _plainly(said, data))
        if length not in tables:
            tables[length] = by_place(said, length)
        value, rows = tables[length]
        for row, byte in zip(rows, data, strict=True):
            value ^= row[byte]
        return _finish(said, value)

    return calculate


@lru_cache(maxsize=256)
def by_place(said: Sum, length: int) -> tuple[int, list[list[int]]]:
    """(constant, a table for each place) of a linear check: their exclusive or is the check before its end."""
    zeros = bytes(length)
    constant = _plainly(said, zeros)
    rows = []
    for place in range(length):
        bits = []
        for bit in range(8):
            one = bytearray(zeros)
            one[place] = 1 << bit
            bits.append(_plainly(said, bytes(one)) ^ constant)
        row = [0]
        for value in bits:
            row += [value ^ before for before in row]
        rows.append(row)
    return constant, rows
