"""Where the digits stand in a frame, and how they are read: every place and kind that gives what the notes say.

Each hypothesis is a place with a kind of the profile language. It is kept only where it gives the digits of every
note; two that give different digits anywhere else are both left, so that nobody takes one of them for the truth.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from math import isfinite, log10
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from meterlog.profile.propose.notes import DisplayNote

FEWEST_DIGITS = 6
"""Figures that different notes must have together before a place is believed: a million to one."""


@dataclass(frozen=True, slots=True)
class NumberPlace:
    """Bytes first..last of a frame read as `kind`; `read` gives a whole number, a float, or None for no number."""

    first: int
    last: int
    kind: str
    read: Callable[[bytes], int | float | None]

    @property
    def is_float(self) -> bool:
        return self.kind.startswith("f")

    @property
    def has_sign(self) -> bool:
        """Whether the number brings its own sign."""
        return self.kind[0] in "if" or self.kind.startswith("sm")

    @property
    def span(self) -> str:
        return f"{self.first}..{self.last}" if self.last > self.first else str(self.first)

    def own(self, noted: Sequence[bytes]) -> dict[int, int]:
        """The bits that are the number's, as a mask for each byte: as far up as the frames of notes have shown one set.

        A bit above them may as well be a flag in the same word, and is left to the state.
        """
        spans = [data[self.first : self.last + 1] for data in noted]
        size, is_little = self.last - self.first + 1, self.kind.endswith("little")
        if self.is_float or (self.kind[0] == "i" and any((self.read(span) or 0) < 0 for span in spans)):
            mask = b"\xff" * size
        else:
            shown = max((int.from_bytes(self._figures(span), "big") for span in spans), default=0)
            top = 1 << 8 * size - 1
            is_signed = self.kind.startswith("sm") and any((self.read(span) or 0) < 0 for span in spans)
            whole = (1 << shown.bit_length()) - 1 | (top if is_signed else 0)
            mask = whole.to_bytes(size, "big")
            if self.kind.startswith("digits"):
                mask = bytes(byte | 0xF0 for byte in mask)
        ordered = mask[::-1] if is_little else mask
        return dict(enumerate(ordered, start=self.first))

    def _figures(self, span: bytes) -> bytes:
        """The bytes of a number, the highest first, without its sign and what marks characters as figures."""
        straight = span[::-1] if self.kind.endswith("little") else span
        if self.kind.startswith("digits"):
            return bytes(byte & 0x0F for byte in straight)
        if self.kind[0] in "is":
            return abs(int(self.read(span) or 0)).to_bytes(len(span), "big")
        return straight

    @property
    def field(self) -> list[str]:
        """What a profile's fields say of it: nothing, for its reading says all."""
        return []

    @property
    def reading(self) -> str:
        return f"bytes: {self.span}, as: {self.kind}"

    def value(self, data: bytes) -> int | float | None:
        return self.read(data[self.first : self.last + 1])

    def gives(self, data: bytes, note: DisplayNote) -> bool:
        """Whether a frame's number is what a note says."""
        value = self.value(data)
        if value is None or note.counts is None:
            return False
        counts = -note.counts if note.negative else note.counts
        if isinstance(value, float):
            return isfinite(value) and abs(value * 10**note.decimals - counts) < 0.5001
        return value == (counts if self.has_sign else note.counts)


def places(length: int, start: int, end: int) -> Iterator[NumberPlace]:
    """Every place between the marks at bytes `start` and `end` (excluded) of a frame of `length` bytes."""
    for size, kinds in _KINDS.items():
        for first in range(start, min(end, length) - size + 1):
            for kind, read in kinds:
                yield NumberPlace(first, first + size - 1, kind, read)


def fitting(
    candidates: Sequence[Sequence[bytes]], notes: Sequence[DisplayNote], start: int, end: int
) -> list[NumberPlace]:
    """The places that give every note's digits in one of its candidate frames.

    `candidates` has, for each note, the frames that it may be of.
    """
    lengths = {len(data) for frames in candidates for data in frames}
    if not lengths:
        return []
    return [
        place
        for place in places(min(lengths), start, end)
        if all(any(place.gives(data, note) for data in frames) for frames, note in zip(candidates, notes, strict=True))
    ]


def are_enough(notes: Sequence[DisplayNote]) -> bool:
    """Whether notes have so many figures that a place which gives them all is believed."""
    different = {note.counts for note in notes if note.counts}
    return len(different) >= 2 and sum(log10(counts) + 0.3 for counts in different) >= FEWEST_DIGITS


# ---- kinds ----


def _whole(kind: str, size: int, order: str) -> Callable[[bytes], int]:
    top = 1 << (8 * size - 1)

    def read(data: bytes) -> int:
        value = int.from_bytes(data, "big" if order == "big" else "little")
        if kind == "i" and value & top:
            return value - 2 * top
        if kind == "sm" and value & top:
            return top - value
        return value

    return read


def _bcd(little: bool) -> Callable[[bytes], int | None]:
    def read(data: bytes) -> int | None:
        digits = (data[::-1] if little else data).hex()
        return int(digits) if digits.isdigit() else None

    return read


def _digits(little: bool) -> Callable[[bytes], int | None]:
    def read(data: bytes) -> int | None:
        text = (data[::-1] if little else data).decode("latin-1")
        return int(text) if text.isascii() and text.isdigit() else None

    return read


def _unpacked(little: bool) -> Callable[[bytes], int | None]:
    def read(data: bytes) -> int | None:
        digits = list(data[::-1] if little else data)
        return int("".join(map(str, digits))) if all(digit < 10 for digit in digits) else None

    return read


def _float(letters: str) -> Callable[[bytes], float]:
    size = len(letters)
    code = ">f" if size == 4 else ">d"
    order = ["ABCDEFGH".index(letter) for letter in letters]

    def read(data: bytes) -> float:
        straight = bytearray(size)
        for place, letter in enumerate(order):
            straight[letter] = data[place]
        return float(struct.unpack(code, bytes(straight))[0])

    return read


def _of_size(size: int) -> list[tuple[str, Callable[[bytes], int | float | None]]]:
    kinds: list[tuple[str, Callable[[bytes], int | float | None]]] = []
    if size in (2, 3, 4):
        for order in ("big", "little"):
            kinds += [(f"{kind}{8 * size} {order}", _whole(kind, size, order)) for kind in ("u", "i", "sm")]
    if size == 4:
        names = {"ABCD": "f32 big", "DCBA": "f32 little", "CDAB": "f32 CDAB", "BADC": "f32 BADC"}
        kinds += [(name, _float(letters)) for letters, name in names.items()]
    if size == 8:
        kinds += [("f64 big", _float("ABCDEFGH")), ("f64 little", _float("HGFEDCBA"))]
    if 2 <= size <= 4:
        kinds += [("bcd", _bcd(False)), ("bcd little", _bcd(True))]
    if 3 <= size <= 7:
        kinds += [("digits", _digits(False)), ("digits little", _digits(True))]
        kinds += [("unpacked bcd", _unpacked(False)), ("unpacked bcd little", _unpacked(True))]
    return kinds


_KINDS = {size: _of_size(size) for size in (2, 3, 4, 5, 6, 7, 8)}
