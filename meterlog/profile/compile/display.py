"""Seven-segment displays to generated code: figures, points and a minus to counts.

The usual case, figures only, is a look-up and a sum. Blanks and letters go the slow way by the text.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

from meterlog.profile.compile.layout import gather, gathered
from meterlog.profile.compile.segments import segment_table
from meterlog.profile.compile.values import word_code
from meterlog.profile.language.places import Bits

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.profile.compile.values import Values
    from meterlog.profile.language.content import Field

_FIGURES = re.compile(r"(-?) *(?=\.?\d)(\d*)(?:\.(\d*))?")
Slow = tuple[int | None, tuple[int, int, bool, bytes | None] | None]


class Display:
    """Writes one display field.

    The code sets the counts and the state of the display: its lit points as a number, a minus only with a zero;
    or, the slow way, what its text says of the form.
    """

    def __init__(self, values: Values, field: Field) -> None:
        self.values = values
        self.field = _lit_only(field)
        self.table = segment_table(self.field.segments) if set(field.segments) >= set("abcdefg") else {}
        self.shift = (10 ** len(field.digits) - 1).bit_length()  # in a sum of figures, marks stand above the counts

    def sound(self) -> bool:
        """Whether the parts of the field fit each other; tells where not."""
        field, problems = self.field, self.values.problems
        before = len(problems)
        if not field.segments:
            field.where.tell(
                problems, expected="the key 'segments': the letter of each bit", saw="digits without segments"
            )
            return False
        if len(set(field.segments) - {"-"}) != 7 or len(field.segments.replace("-", "")) != 7:
            field.where.tell(problems, "segments", expected="each of the letters a to g once", saw=field.segments)
        for place, bits in enumerate(field.digits, start=1):
            width = sum(bit.width for bit in bits)
            if width != len(field.segments):
                field.where.tell(
                    problems,
                    "digits",
                    expected=f"{len(field.segments)} bits for each digit, as in `segments`",
                    saw=f"{width} bits for digit {place}",
                )
            self.values.reach(field.where, [bit.byte for bit in bits])
        if len(field.points) > len(field.digits):
            field.where.tell(
                problems, "points", expected="at most one point for each digit", saw=f"{len(field.points)} points"
            )
        for bits in [*field.points, field.minus or ()]:
            self.values.reach(field.where, [bit.byte for bit in bits])
        return len(problems) == before

    def write(self, counts: str, state: str) -> dict[int, tuple[int, int, bool]]:
        """Code that sets `counts` and `state`; answers what each state that is a number means for the form."""
        code, field = self.values.code, self.field
        add = code.add
        slow = code.constant(self._reader(), "slow")
        marks = self._marks()
        quick = [self._quick(place, bits, marks) for place, bits in enumerate(field.digits)]
        beside = [mark for mark in marks if not any(mark[0] in held for _, _, held in quick)]
        minus = gathered(self.values.layout, field.minus) if field.minus else "0"
        points = self._points() or "0"
        add("try:")
        code.indent()
        total = " + ".join(f"{code.constant(table, 'figure')}[{text}]" for text, table, _ in quick)
        total += "".join(f" + ({gathered(self.values.layout, (bit,))} << {self.shift + lit})" for bit, lit in beside)
        add(f"t = {total}")
        add(f"{counts} = t & {(1 << self.shift) - 1}")
        add(f"{state} = t >> {self.shift}")
        if field.minus:
            lit = 1 << len(field.points)
            add(f"if {state} & {lit}: {state} = {state} ^ {lit} if {counts} else {state}; {counts} = -{counts}")
        code.dedent()
        add("except KeyError:")
        code.indent()
        text = ", ".join(gathered(self.values.layout, bits) for bits in field.digits)
        add(f"{counts}, {state} = {slow}(({text},), {points}, {minus})")
        self.values.fail(f"{counts} is None", "the display shows no figures that make a number")
        code.dedent()
        return self._shapes()

    def _marks(self) -> list[tuple[Bits, int]]:
        """Each point and the minus, with the bit above the counts that it lights in a sum of figures."""
        points = [bit for point in self.field.points for bit in point]
        marks = [(bit, len(points) - 1 - place) for place, bit in enumerate(points)]
        return marks + [(bit, len(points)) for bit in self.field.minus or ()]

    def _quick(
        self, place: int, bits: tuple[Bits, ...], marks: list[tuple[Bits, int]]
    ) -> tuple[str, dict[object, int], set[Bits]]:
        """An expression of the bytes that hold a digit; for each that is a figure what it is worth, its marks
        above; and the marks that stand in these bytes."""
        layout, worth = self.values.layout, 10 ** (len(self.field.digits) - 1 - place)
        places = sorted({layout.index(bit.byte) for bit in bits})
        allowed = [self._allowed(index) for index in places]
        adjacent = places == list(range(places[0], places[0] + len(places)))
        if not adjacent or len(allowed) > 2 or _size(allowed) > 4096:
            plain: dict[object, int] = {k: int(v) * worth for k, v in self.table.items() if v.isdigit()}
            return gathered(layout, bits), plain, set()
        held = [(bit, lit) for bit, lit in marks if layout.index(bit.byte) in places]
        held = [(bit, lit) for bit, lit in held if not self._taken(bit, place)]
        rows: dict[object, int] = {}
        for values in product(*allowed):

            def byte(number: int, values: tuple[int, ...] = values) -> int:
                return values[layout.index(number) - places[0]]

            figure = self.table.get(gather(bits, byte))
            if figure is not None and figure.isdigit():
                lit = sum(gather((bit,), byte) << self.shift + at for bit, at in held)
                rows[bytes(values) if len(values) > 1 else values[0]] = int(figure) * worth + lit
        text = f"f[{places[0]}]" if len(places) == 1 else f"f[{places[0]}:{places[-1] + 1}]"
        return text, rows, {bit for bit, _ in held}

    def _taken(self, mark: Bits, place: int) -> bool:
        """Whether an earlier digit's bytes hold the mark already."""
        return any(mark.byte == bit.byte for bits in self.field.digits[:place] for bit in bits)

    def _allowed(self, place: int) -> list[int]:
        known = self.values.layout.allowed
        allowed = known[place] if 0 <= place < len(known) else None
        return sorted(allowed) if allowed is not None else list(range(256))

    def _points(self) -> str:
        """The expression of all point bits as one number, the first point the most significant."""
        bits = tuple(bit for point in self.field.points for bit in point)
        return gathered(self.values.layout, bits) if bits else ""

    def _shapes(self) -> dict[int, tuple[int, int, bool]]:
        """(decimals, digits before the point, zero with a minus) for each state but those with two points lit."""
        count, digits = len(self.field.points), len(self.field.digits)
        shapes = {0: (0, digits, False)}
        for place in range(count):
            shapes[1 << (count - 1 - place)] = (digits - 1 - place, place + 1, False)
        return shapes | {code | 1 << count: (d, w, True) for code, (d, w, _) in shapes.items()}

    def _reader(self) -> Callable[[tuple[int, ...], int, int], Slow]:
        words = {look(word): word_code(word) for word in self.field.special}
        table, count = self.table, len(self.field.points)

        def read(codes: tuple[int, ...], points: int, minus: int) -> Slow:
            """counts, and (decimals, width, zero with a minus, special word); None where they are no number."""
            figures = [table.get(code) for code in codes]
            if None in figures:
                return None, None
            word = words.get(look("".join(figure or "" for figure in figures)))
            if word is not None:
                return 0, (0, 1, False, word)
            text = "-" if minus else ""
            for place, figure in enumerate(figures):
                text += figure or ""
                if place < count and points >> (count - 1 - place) & 1:
                    text += "."
            match = _FIGURES.fullmatch(text)
            if not match:
                return None, None
            sign, before, after = match.groups(default="")
            counts = int(before + after)
            return -counts if sign else counts, (len(after), len(before), bool(sign) and not counts, None)

        return read


def _lit_only(field: Field) -> Field:
    """The field without the bits of its digits that light no segment, as far as they are as many as its letters."""
    digits = []
    for bits in field.digits:
        each = [Bits(part.byte, bit, bit) for part in bits for bit in range(part.high, part.low - 1, -1)]
        if len(each) != len(field.segments):
            return field
        digits.append(_joined([bit for bit, letter in zip(each, field.segments, strict=True) if letter != "-"]))
    return replace(field, digits=tuple(digits), segments=field.segments.replace("-", ""))


def _joined(bits: list[Bits]) -> tuple[Bits, ...]:
    """Single bits with neighbours of one byte put together."""
    out: list[Bits] = []
    for bit in bits:
        if out and (out[-1].byte, out[-1].low - 1) == (bit.byte, bit.high):
            out[-1] = Bits(bit.byte, out[-1].high, bit.low)
        else:
            out.append(bit)
    return tuple(out)


def look(word: str) -> str:
    """A word as seven segments can show it: O is 0, S is 5, I is 1, and capital and small letters are alike.

    >>> look("OL"), look("Err"), look(" 0PEn ")
    ('0L', 'ERR', '0PEN')
    """
    return word.strip().replace("l", "1").upper().translate(str.maketrans("OSI", "051"))


def _size(allowed: list[list[int]]) -> int:
    total = 1
    for values in allowed:
        total *= len(values)
    return total
