"""Where bytes and bits of a frame are, and what reads them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.profile.language.places import Bits, Span


@dataclass(frozen=True, slots=True, kw_only=True)
class ByteNumbering:
    """What the bytes of a frame are counted by.

    Attributes:
        base: the number of the first byte.
        tail: bytes of the end mark, which places counted from the end leave out.
        behind: bytes that stand behind the end mark, from whose last places are counted then.
        length: bytes of every frame, None where it varies.
        allowed: what each byte of a frame of fixed length may be, where the framer sees to it.
        uneven: there are end marks of several lengths, so that nothing can be counted from the end.
    """

    base: int
    tail: int
    length: int | None
    behind: int = 0
    allowed: tuple[frozenset[int] | None, ...] = ()
    uneven: bool = False

    def index(self, place: int) -> int:
        """A Python index from a place as the profile writes it, from the front where that is known."""
        if place >= 0:
            return place - self.base
        index = place - self.tail
        return index + self.length if self.length is not None else index

    def bounds(self, span: Span) -> tuple[int, int | None]:
        """A Python slice of a span."""
        first, last = self.index(span.first), self.index(span.last)
        return first, None if last == -1 else last + 1

    def slice(self, span: Span) -> slice:
        return slice(*self.bounds(span))

    def size(self, span: Span) -> int | None:
        """Bytes of a span, None where it varies with the frame's length."""
        first, end = self.bounds(span)
        if (first < 0) != (end is None or end < 0):
            return None
        return (0 if end is None else end) - first


def ordered(layout: ByteNumbering, span: Span, order: str) -> Callable[[bytes], bytes]:
    """What answers a span's bytes, the most significant first; `order` is big, little, or the order's letters."""
    size, where = layout.size(span), layout.slice(span)
    letters = "ABCDEFGH"[:size]
    if order in ("big", letters) or size == 1:
        return lambda frame: frame[where]
    if order in ("little", letters[::-1]):
        return lambda frame: frame[where][::-1]
    first = layout.index(span.first)
    places = [first + order.index(letter) for letter in letters]
    return lambda frame: bytes(frame[place] for place in places)


def integer(layout: ByteNumbering, span: Span, *, signed: bool, order: str) -> Callable[[bytes], int]:
    """What answers the whole number of a span."""
    size, first, where = layout.size(span), layout.index(span.first), layout.slice(span)
    if size == 1 and not signed:
        return lambda frame: frame[first]
    if order in ("big", "little"):
        way: Literal["big", "little"] = "big" if order == "big" else "little"
        return lambda frame: int.from_bytes(frame[where], way, signed=signed)
    turned = ordered(layout, span, order)
    return lambda frame: int.from_bytes(turned(frame), "big", signed=signed)


def gathered(layout: ByteNumbering, places: tuple[Bits, ...]) -> Callable[[bytes], int]:
    """What puts bits of several bytes side by side, the first the most significant."""
    parts = [(layout.index(p.byte), min(p.high, p.low), p.width, (1 << p.width) - 1) for p in places]
    if len(parts) == 1:
        ((index, low, _, mask),) = parts
        return lambda frame: frame[index] >> low & mask

    def gather(frame: bytes) -> int:
        number = 0
        for index, low, width, mask in parts:
            number = number << width | frame[index] >> low & mask
        return number

    return gather
