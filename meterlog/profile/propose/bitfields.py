"""Digits that end within a byte: counts beside flags in one word, or spread over the seven bits that a marked byte has.

Looked for where no whole bytes give the digits. A field is taken as narrow as the notes need: the bits above it belong
to the state, so that a count which none of the notes reached is a state that is not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.profile.propose.states import bit_width, bits_text, code_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.states import MaskedBits

LEAST_BITS = 8
"""Bits below which a field would fit by luck."""


@dataclass(frozen=True, slots=True)
class BitField:
    """Bits side by side, the first the most significant; `kind` as a profile says it, "" for a plain number."""

    parts: tuple[MaskedBits, ...]
    kind: str

    @property
    def is_float(self) -> bool:
        return False

    @property
    def has_sign(self) -> bool:
        return self.kind == "signed bits"

    @property
    def first(self) -> int:
        return min(byte for byte, _ in self.parts)

    @property
    def last(self) -> int:
        return max(byte for byte, _ in self.parts)

    @property
    def span(self) -> str:
        return bits_text(self.parts)

    def own(self, _noted: Sequence[bytes]) -> dict[int, int]:
        """The bits that are the number's, as a mask for each byte: the field is as narrow as the notes need."""
        return dict(self.parts)

    @property
    def field(self) -> list[str]:
        """The field of a profile that reads it."""
        said = f", as: {self.kind}" if self.kind else ""
        return [f"  number: {{bits: {self.span}{said}}}"]

    @property
    def reading(self) -> str:
        return "value: number"

    def value(self, data: bytes) -> int | None:
        code, size = code_of(data, self.parts), bit_width(self.parts)
        if self.kind == "bcd":
            digits = f"{code:0{size // 4}x}"
            return int(digits) if digits.isdigit() else None
        return code - (1 << size) if self.kind == "signed bits" and code >> size - 1 else code

    def gives(self, data: bytes, note: DisplayNote) -> bool:
        """Whether a frame's number is what a note says."""
        if note.counts is None:
            return False
        return self.value(data) == (-note.counts if note.negative and self.has_sign else note.counts)


def bit_fields(
    candidates: Sequence[Sequence[bytes]], notes: Sequence[DisplayNote], start: int, end: int, usable: int
) -> list[BitField]:
    """The fields that give every note's digits in one of its candidate frames.

    `usable` has the bits of each byte that may be a number's: none that marks where a frame begins or ends.
    """
    highest = max((note.counts or 0 for note in notes), default=0)
    needed = max(LEAST_BITS, highest.bit_length())
    sizes = [("", needed), ("bcd", 4 * len(str(highest)))]
    if any(note.negative for note in notes):
        sizes.insert(0, ("signed bits", needed + 1))
    found = []
    for kind, size in sizes:
        for parts in dict.fromkeys(_runs_of_bits(size, start, end, usable)):
            field = BitField(parts, kind)
            if all(
                any(field.gives(data, note) for data in frames) for frames, note in zip(candidates, notes, strict=True)
            ):
                found.append(field)
    return found


def _runs_of_bits(size: int, start: int, end: int, usable: int) -> Iterator[tuple[MaskedBits, ...]]:
    """Every `size` bits in a row, bytes in their order and in the other."""
    for order in (range(start, end), range(end - 1, start - 1, -1)):
        row = [(byte, bit) for byte in order for bit in range(7, -1, -1) if usable >> bit & 1]
        for at in range(len(row) - size + 1):
            masks: dict[int, int] = {}
            for byte, bit in row[at : at + size]:
                masks[byte] = masks.get(byte, 0) | 1 << bit
            yield tuple(masks.items())
