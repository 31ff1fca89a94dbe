"""Seven-segment displays sent as they light: which bits are which segment, learned from the figures that notes show.

A bit is a segment of a figure where, in the frames of all notes, it is lit exactly when that figure has the segment.
Figures that are wired alike stand at a regular distance, so that one note tells of all of them; where no distance
fits, each figure is learned by itself. What is left open is held to every frame of the recording: each figure must be
one, and where two ways of wiring would read any frame differently, neither is believed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice, product
from typing import TYPE_CHECKING

from meterlog.profile.propose.states import Contradiction

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from meterlog.profile.propose.notes import DisplayNote

FIGURES = {
    "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "acdefg", "7": "abc",
    "8": "abcdefg", "9": "abcdfg",
}  # fmt: skip
"""The segments of each figure: a top, b and c right, d bottom, e and f left, g middle. Common practice."""

_OTHERS = {" ": "", "-": "g", "L": "def"}
"""What else a figure's place shows in a display that works: nothing, a dash, the L of OL."""

_SHAPES = {frozenset(lit): shown for shown, lit in {**FIGURES, **_OTHERS}.items()}
_FARTHEST = 32
"""Bits between two figures, at most."""

_DIFFERENT = 4
"""Figures that notes must have shown before the wiring is looked for."""

_FEWEST_ALONE = 6
"""Notes before figures are learned each by itself."""

_MOST_WAYS = 4096
_SOUND = 0.9
"""Part of the frames in which every figure must be one; the rest may be damaged, or show words."""

Bit = int
"""A bit of a frame: eight times its byte, and its place in it."""


@dataclass(frozen=True, slots=True)
class Display:
    """A display's figures, left to right, each as the bits of its segments a to g; and their points.

    Attributes:
        points: the bit of the point behind each figure; empty where the points are not known apart.
        seen: those of the points that a note has shown lit.
    """

    figures: tuple[tuple[Bit, ...], ...]
    points: tuple[Bit, ...]
    seen: frozenset[Bit]

    def value(self, data: bytes) -> tuple[object, ...]:
        """What the display shows, as something that differs where it differs."""
        return (*_shown(data, self.figures), *(_is_lit(data, bit) for bit in self.points))

    def shows(self, data: bytes) -> str | None:
        """The display's figures; None where one of them is nothing known."""
        figures = _shown(data, self.figures)
        return None if None in figures else "".join(filter(None, figures))

    @property
    def own(self) -> dict[int, int]:
        """The bits that are the number's, as a mask for each byte; a point that no note has shown is not."""
        masks: dict[int, int] = {}
        for bit in (*(bit for figure in self.figures for bit in figure), *self.seen):
            masks[bit // 8] = masks.get(bit // 8, 0) | 1 << bit % 8
        return masks

    def lines(self) -> list[str]:
        """The field of a profile that reads the display."""
        figures = ", ".join(" ".join(map(_place, figure)) for figure in self.figures)
        out = ["  display:", "    segments: abcdefg", f"    digits: [{figures}]"]
        return [*out, f"    points: [{', '.join(map(_place, self.points))}]"] if self.points else out


def _place(bit: Bit) -> str:
    return f"{bit // 8}.{bit % 8}"


def _is_lit(data: bytes, bit: Bit) -> bool:
    return bool(data[bit // 8] >> bit % 8 & 1)


def _shown(data: bytes, figures: Iterable[Sequence[Bit]]) -> tuple[str | None, ...]:
    """What each figure shows; None where that is nothing known."""
    lit = (
        frozenset(segment for segment, bit in zip("abcdefg", each, strict=True) if _is_lit(data, bit))
        for each in figures
    )
    return tuple(_SHAPES.get(each) for each in lit)


def find_display(
    noted: Sequence[tuple[DisplayNote, bytes]], frames: Sequence[bytes], start: int, end: int
) -> Display | None:
    """The display between bytes `start` and `end` that shows every note's figures in its frame; None where none does.

    Raises: Contradiction, when several do and differ, or the figures noted are too few.
    """
    texts = [str(note.counts).rjust(note.decimals + 1, "0") for note, _ in noted]
    if not texts or len(set("".join(texts))) < _DIFFERENT:
        return None
    wanted = _Wanted(noted, texts, frames, start, end)
    found = {}
    for distance in sorted(range(-_FARTHEST, _FARTHEST + 1), key=abs):
        if distance:
            for figures in _ways(wanted.at_distance(distance)):
                laid = [tuple(bit + place * distance for bit in figures) for place in range(wanted.count)]
                if wanted.is_sound(laid):
                    found[tuple(_shown(data, laid) for data in wanted.frames)] = laid, distance
    if not found and len(noted) >= _FEWEST_ALONE:
        apart = [_read_alike(wanted, place) for place in range(wanted.count)]
        if all(apart):
            laid = [figure for figure in apart if figure]
            found[()] = laid, 0
    if len(found) > 1:
        raise Contradiction("the figures noted so far fit several ways of wiring the segments: note others", [])
    for laid, distance in found.values():
        points, seen = wanted.points(laid, distance) if distance else ((), frozenset())
        return Display(tuple(laid), points, seen)
    return None


class _Wanted:
    """What notes say of bits: for each figure's place, in which notes it is known, and in which a segment is lit."""

    def __init__(
        self,
        noted: Sequence[tuple[DisplayNote, bytes]],
        texts: Sequence[str],
        frames: Sequence[bytes],
        start: int,
        end: int,
    ) -> None:
        self.count = max(map(len, texts))
        self.frames = sorted(set(frames))
        self._decimals = [note.decimals for note, _ in noted]
        rows = [text.rjust(self.count) for text in texts]
        self._known = [_mask(row[place] != " " for row in rows) for place in range(self.count)]
        self._lit = [
            {segment: _mask(segment in FIGURES.get(row[place], "") for row in rows) for segment in "abcdefg"}
            for place in range(self.count)
        ]
        self._column = {bit: _mask(_is_lit(data, bit) for _, data in noted) for bit in range(8 * start, 8 * end)}
        moved = [0] * (end - start)
        for data in self.frames:
            moved = [
                so_far | (a ^ b) for so_far, a, b in zip(moved, data[start:end], self.frames[0][start:end], strict=True)
            ]
        self._moved = {bit for bit in self._column if moved[bit // 8 - start] >> bit % 8 & 1}

    def at_distance(self, distance: int) -> list[list[Bit]]:
        """For each segment, the bits of the first figure that may be it, with the other figures at a distance."""
        return [
            [
                bit
                for bit in self._column
                if (last := bit + (self.count - 1) * distance) in self._column
                and any(each in self._moved for each in range(bit, last + (1 if distance > 0 else -1), distance))
                and all(self._fits(bit + place * distance, place, segment) for place in range(self.count))
            ]
            for segment in "abcdefg"
        ]

    def alone(self, place: int) -> list[list[Bit]]:
        """For each segment, the bits that may be it in one figure."""
        return [[bit for bit in self._column if bit in self._moved and self._fits(bit, place, s)] for s in "abcdefg"]

    def _fits(self, bit: Bit, place: int, segment: str) -> bool:
        return not (self._column[bit] ^ self._lit[place][segment]) & self._known[place]

    def is_sound(self, figures: Sequence[Sequence[Bit]]) -> bool:
        """Whether nearly every frame shows figures, or nothing, in these places."""
        bad = sum(None in _shown(data, figures) for data in self.frames)
        return bad <= (1 - _SOUND) * len(self.frames)

    def points(self, figures: Sequence[Sequence[Bit]], distance: int) -> tuple[tuple[Bit, ...], frozenset[Bit]]:
        """The point behind each figure but the last, where one way fits all notes, and which of them were lit."""
        lit = [
            _mask(decimals == self.count - 1 - place for decimals in self._decimals) for place in range(self.count - 1)
        ]
        segments = {bit for figure in figures for bit in figure}
        at = [tuple(first + place * distance for place in range(self.count - 1)) for first in self._column]
        ways = [
            bits
            for bits in at
            if not segments & set(bits)
            and all(self._column.get(bit) == wanted for bit, wanted in zip(bits, lit, strict=True))
        ]
        if sum(map(bool, lit)) < 2 or len(ways) != 1:
            return (), frozenset()
        return ways[0], frozenset(bit for bit, is_lit in zip(ways[0], lit, strict=True) if is_lit)


def _mask(holds: Iterable[bool]) -> int:
    return sum(1 << place for place, each in enumerate(holds) if each)


def _ways(bits: Sequence[Sequence[Bit]]) -> Iterator[tuple[Bit, ...]]:
    """Every choice of a bit of its own for each segment. Raises: Contradiction, when there are too many."""
    many = 1
    for each in bits:
        many *= len(each)
    if many > _MOST_WAYS:
        raise Contradiction("the figures noted so far fit many ways of wiring the segments: note others", [])
    return (way for way in islice(product(*bits), _MOST_WAYS) if len(set(way)) == len(way))


def _read_alike(wanted: _Wanted, place: int) -> tuple[Bit, ...] | None:
    """The bits of one figure; None where there are none. Raises: Contradiction, when several would read differently."""
    found: Mapping[tuple[str | None, ...], tuple[Bit, ...]] = {
        tuple(_shown(data, [way])[0] for data in wanted.frames): way
        for way in _ways(wanted.alone(place))
        if wanted.is_sound([way])
    }
    if len(found) > 1:
        raise Contradiction("the figures noted so far fit several ways of wiring the segments: note others", [])
    return next(iter(found.values()), None)
