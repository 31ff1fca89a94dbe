"""Where bytes and bits of a frame are, as expressions of generated code over the frame `f`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.profile.language.places import Bits, Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
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

    def slice(self, span: Span) -> str:
        first, end = self.bounds(span)
        return f"f[{first}:{'' if end is None else end}]"

    def size(self, span: Span) -> int | None:
        """Bytes of a span, None where it varies with the frame's length."""
        first, end = self.bounds(span)
        if (first < 0) != (end is None or end < 0):
            return None
        return (0 if end is None else end) - first


def integer(layout: Layout, span: Span, *, signed: bool, order: str) -> str:
    """The expression of a whole number; `order` is big, little, or the order's letters."""
    size = layout.size(span)
    assert size
    first = layout.index(span.first)
    if size == 1 and not signed:
        return f"f[{first}]"
    if size == 2 and not signed:
        high, low = (first, first + 1) if order in ("big", "AB") else (first + 1, first)
        return f"(f[{high}] << 8 | f[{low}])"
    sign = ", signed=True" if signed else ""
    return f"int.from_bytes({ordered(layout, span, order)}, 'big'{sign})"


def ordered(layout: Layout, span: Span, order: str) -> str:
    """The expression of a span's bytes, the most significant first."""
    size, text = layout.size(span), layout.slice(span)
    letters = "ABCDEFGH"[:size]
    if order in ("big", letters) or size == 1:
        return text
    if order in ("little", letters[::-1]):
        return f"{text}[::-1]"
    first = layout.index(span.first)
    return "bytes((" + ", ".join(f"f[{first + order.index(letter)}]" for letter in letters) + "))"


def gather(places: tuple[Bits, ...], byte: Callable[[int], int]) -> int:
    """Bits of several bytes put side by side, the first the most significant; `byte` gives each byte."""
    number = 0
    for place in places:
        low = min(place.high, place.low)
        number = number << place.width | byte(place.byte) >> low & (1 << place.width) - 1
    return number


def gathered(layout: Layout, places: tuple[Bits, ...]) -> str:
    """The expression of bits of several bytes put side by side, the first the most significant."""
    parts = []
    left = sum(place.width for place in places)
    for place in places:
        left -= place.width
        low, mask = min(place.high, place.low), (1 << place.width) - 1
        byte = f"f[{layout.index(place.byte)}]"
        part = byte if mask == 255 else f"({byte} >> {low} & {mask})" if low else f"({byte} & {mask})"
        parts.append(f"{part} << {left}" if left else part)
    return "(" + " | ".join(parts) + ")"
