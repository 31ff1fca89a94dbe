"""Seven-segment displays sent as they light: which bits are which segment, learned from the figures that notes show.

Each figure is two bytes whose lower halves light four segments each: seven of a figure and one point (or the minus).
What a pattern shows is learned from notes; all 5,040 ways of wiring seven segments are then held to it, and figures
that no note has shown are believed where every way that fits shows them alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING

from meterlog.profile.propose.states import Contradiction

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from meterlog.profile.propose.notes import DisplayNote

FIGURES = {
    "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "acdefg", "7": "abc",
    "8": "abcdefg", "9": "abcdfg",
}  # fmt: skip
"""The segments of each figure: a top, b and c right, d bottom, e and f left, g middle. Common practice."""

DIFFERENT = 4
"""Figures that notes must have shown before the wiring is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """Where a display's figures stand and how they are wired.

    Attributes:
        first: byte of the first figure; each takes two.
        count: figures. extra: the bit (7 to 0 of the eight) that is a point or the minus.
        order: the segment that each of the other seven bits lights, the highest first.
        point_is_before: whether that bit of a figure's own bytes is the point before it, else the one behind it.
        has_minus: whether the first figure's extra bit was shown to be the minus.
    """

    first: int
    count: int
    extra: int
    order: str
    point_is_before: bool
    has_minus: bool

    def pattern(self, data: bytes, figure: int) -> tuple[int, bool]:
        """(the seven bits, the extra bit) of a figure."""
        return _parts(_eight(data, self.first + 2 * figure), self.extra)

    def value(self, data: bytes) -> tuple[tuple[int, bool], ...]:
        """What the display shows, figure by figure, as bits."""
        return tuple(self.pattern(data, figure) for figure in range(self.count))

    @property
    def taken(self) -> dict[int, int]:
        """The bits that are the number's; the minus is not, until a note has shown it."""
        masks = {self.first + place: 0x0F for place in range(2 * self.count)}
        if not self.has_minus and self.point_is_before:
            masks[self._place(0)[0]] &= ~(1 << self._place(0)[1])
        if not self.point_is_before:
            last = self._place(self.count - 1)
            masks[last[0]] &= ~(1 << last[1])
        return masks

    def _place(self, figure: int) -> tuple[int, int]:
        """(byte, bit) of a figure's extra bit."""
        return self.first + 2 * figure + (self.extra < 4), self.extra % 4

    def lines(self) -> list[str]:
        """The field of a profile that reads the display."""
        sevens = [bit for bit in range(7, -1, -1) if bit != self.extra]
        figures = []
        for figure in range(self.count):
            byte = self.first + 2 * figure
            figures.append(" ".join(f"{byte + (bit < 4)}.{bit % 4}" for bit in sevens))
        places = [self._place(figure) for figure in range(self.count)]
        points = places[1:] if self.point_is_before else places[:-1]
        out = ["  display:", f"    segments: {self.order}", f"    digits: [{', '.join(figures)}]"]
        out.append(f"    points: [{', '.join(f'{byte}.{bit}' for byte, bit in points)}]")
        if self.has_minus:
            out.append(f"    minus: {places[0][0]}.{places[0][1]}")
        return out


def _eight(data: bytes, byte: int) -> int:
    return (data[byte] & 0x0F) << 4 | data[byte + 1] & 0x0F


def _parts(eight: int, extra: int) -> tuple[int, bool]:
    high = eight >> extra + 1
    return high << extra | eight & (1 << extra) - 1, bool(eight >> extra & 1)


def find_display(noted: Sequence[tuple[DisplayNote, bytes]], length: int) -> Display | None:
    """The display that shows every note's figures in its frame; None where none does, or several differ.

    Raises: Contradiction, when the figures noted are too few to tell the wiring.
    """
    for count in (4, 5, 3):
        for first in range(length - 2 * count + 1):
            for extra in range(7, -1, -1):
                shows = _learned(noted, first, count, extra)
                if shows is None or len(set(shows.values())) < DIFFERENT:
                    continue
                found = list(_wired(noted, first, count, extra, shows))
                if found and len({_tables(display.order) for display in found}) == 1:
                    return found[0]
                if found:
                    raise Contradiction(
                        "the figures noted so far fit several ways of wiring the segments: note values with others", []
                    )
    return None


def _learned(
    noted: Sequence[tuple[DisplayNote, bytes]], first: int, count: int, extra: int
) -> Mapping[int, str] | None:
    """The figure that each pattern shows; None where one pattern would show two, or two patterns one."""
    shows: dict[int, str] = {}
    for note, data in noted:
        figures = str(note.counts).rjust(note.decimals + 1, "0")
        if len(figures) > count:
            return None
        for place, figure in enumerate(reversed(figures)):
            pattern, _ = _parts(_eight(data, first + 2 * (count - 1 - place)), extra)
            if shows.setdefault(pattern, figure) != figure:
                return None
    return shows if len(set(shows.values())) == len(shows) else None


def _wired(
    noted: Sequence[tuple[DisplayNote, bytes]], first: int, count: int, extra: int, shows: Mapping[int, str]
) -> Iterator[Display]:
    for order in permutations("abcdefg"):
        if all(_bits(order, FIGURES[figure]) == pattern for pattern, figure in shows.items()):
            for is_before in (True, False):
                display = _with_points(noted, first, count, extra, "".join(order), is_before=is_before)
                if display is not None:
                    yield display
                    break


def _with_points(
    noted: Sequence[tuple[DisplayNote, bytes]], first: int, count: int, extra: int, order: str, *, is_before: bool
) -> Display | None:
    """The display, where its extra bits are the points of every note and, of the first figure, its minus."""
    minus: set[bool] = set()
    for note, data in noted:
        extras = [_parts(_eight(data, first + 2 * figure), extra)[1] for figure in range(count)]
        lit = [figure for figure, is_lit in enumerate(extras) if is_lit]
        wanted = count - note.decimals if is_before else count - note.decimals - 1
        points = [figure for figure in lit if figure > 0] if is_before else [f for f in lit if f < count - 1]
        if points != ([wanted] if note.decimals else []):
            return None
        if is_before:
            minus.add(extras[0] == note.negative)
    has_minus = is_before and minus == {True} and any(note.negative for note, _ in noted)
    return Display(first=first, count=count, extra=extra, order=order, point_is_before=is_before, has_minus=has_minus)


def _bits(order: Sequence[str], lit: str) -> int:
    value = 0
    for segment in order:
        value = value << 1 | (segment in lit)
    return value


def _tables(order: str) -> tuple[int, ...]:
    return tuple(_bits(order, lit) for lit in FIGURES.values())
