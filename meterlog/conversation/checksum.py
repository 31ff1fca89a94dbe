"""Sums, exclusive ors and cyclic redundancy checks over the bytes of a frame.

Every one of these is affine: what a byte at a place adds does not depend on the others. So for a
frame of a known length a check is a table for each place, made once from the catalogue's own
calculation, and a look-up for each byte.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import crccheck.crc

if TYPE_CHECKING:
    from collections.abc import Callable

PLAIN = ("sum-8", "sum-16", "sum-32", "xor-8")
TABLED_LENGTH = 64
"""Frames up to this length are proved by look-up; longer ones byte by byte."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """A way to prove bytes.

    Attributes:
        kind: one of PLAIN, a name of the CRC catalogue in lower case, or "crc" with its parameters.
        turn: "" as it is; "negated" (two's complement), "inverted" (one's complement).
        init: what a plain sum starts from; None: the kind's own.
        plus, mask: added at the end, then only these bits are kept (None: all of the width).
    """

    kind: str
    turn: str = ""
    init: int | None = None
    plus: int = 0
    mask: int | None = None
    width: int | None = None
    poly: int | None = None
    reflect_in: bool = False
    reflect_out: bool = False
    xor_out: int = 0

    @property
    def bits(self) -> int:
        """Bits of the result."""
        if self.kind in PLAIN:
            return int(self.kind.partition("-")[2])
        return int(_crc(self).width())


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
    """The check before it is turned, added to and masked."""
    if said.kind == "xor-8":
        value = said.init or 0
        for byte in data:
            value ^= byte
        return value
    if said.kind in PLAIN:
        return (said.init or 0) + sum(data) & (1 << said.bits) - 1
    return int(_crc(said).calc(data))


def _finish(said: Sum, value: int) -> int:
    whole = (1 << said.bits) - 1
    if said.turn == "negated":
        value = -value
    elif said.turn == "inverted":
        value = ~value
    value = value + said.plus & whole
    return value if said.mask is None else value & said.mask


def calculation(said: Sum) -> Callable[[bytes], int]:
    """The check as a function of the bytes that it proves."""
    if said.kind in PLAIN and said.kind != "xor-8":
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
    """(constant, a table for each place): their exclusive or is the check before its end."""
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
