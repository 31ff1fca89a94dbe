"""Seven-segment displays to generated code: figures, points and a minus to counts.

The usual case, figures only, is a look-up and a sum. Blanks and letters go the slow way by the text.
"""

from __future__ import annotations

import re
from itertools import product
from typing import TYPE_CHECKING

from meterlog.profile.layout import gather, gathered
from meterlog.profile.segments import segment_table
from meterlog.profile.values import word_code

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.profile.language import Field
    from meterlog.profile.places import Bits
    from meterlog.profile.values import Values

_FIGURES = re.compile(r"(-?) *(?=\.?\d)(\d*)(?:\.(\d*))?")
Slow = tuple[int | None, int, int, bool, bytes | None]


class Display:
    """Writes one display field.

    The code sets counts, and for the form: d (decimals), w (digits before the point), z (a zero with
    a minus), s (a special word).
    """

    def __init__(self, values: Values, field: Field) -> None:
        self.values = values
        self.field = field
        self.table = segment_table(field.segments)

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

    def write(self, counts: str, number: int, special: bool) -> None:
        """Code that sets `counts` and d, w, z, s of a reading."""
        code, field = self.values.code, self.field
        add = code.add
        names = [f"{field_name}{number}" for field_name in ("d", "w", "z", "s")]
        d, w, z, s = names
        slow = code.constant(self._reader(), "slow")
        quick = [self._quick(bits) for bits in field.digits]
        minus = gathered(self.values.layout, field.minus) if field.minus else ""
        points = self._points()
        add("try:")
        code.indent()
        total = " + ".join(
            f"{code.constant({k: v * 10 ** (len(quick) - 1 - place) for k, v in table.items()}, 'figure')}[{text}]"
            for place, (text, table) in enumerate(quick)
        )
        add(f"{counts} = {total}")
        if points:
            shapes = code.constant(self._shapes(), "shape")
            add(f"{d}, {w} = {shapes}[{points}]")
        else:
            add(f"{d}, {w} = 0, {len(quick)}")
        add(f"{s} = None")
        add(f"{z} = False")
        if minus:
            add(f"if {minus}: {z} = not {counts}; {counts} = -{counts}")
        code.dedent()
        add("except KeyError:")
        code.indent()
        text = ", ".join(gathered(self.values.layout, bits) for bits in field.digits)
        add(f"{counts}, {d}, {w}, {z}, {s} = {slow}(({text},), {points or 0}, {minus or 0})")
        self.values.fail(f"{counts} is None", "the display shows no figures that make a number")
        code.dedent()

    def _quick(self, bits: tuple[Bits, ...]) -> tuple[str, dict[object, int]]:
        """An expression of the bytes that hold a digit, and the figure for each that is one."""
        layout = self.values.layout
        places = sorted({layout.index(bit.byte) for bit in bits})
        allowed = [self._allowed(place) for place in places]
        adjacent = places == list(range(places[0], places[0] + len(places)))
        if not adjacent or len(allowed) > 2 or _size(allowed) > 4096:
            return gathered(layout, bits), {k: int(v) for k, v in self.table.items() if v.isdigit()}
        rows: dict[object, int] = {}
        for values in product(*allowed):
            figure = self.table.get(gather(bits, lambda byte, v=values: v[layout.index(byte) - places[0]]))  # type: ignore[misc]
            if figure is not None and figure.isdigit():
                rows[bytes(values) if len(values) > 1 else values[0]] = int(figure)
        text = f"f[{places[0]}]" if len(places) == 1 else f"f[{places[0]}:{places[-1] + 1}]"
        return text, rows

    def _allowed(self, place: int) -> list[int]:
        known = self.values.layout.allowed
        allowed = known[place] if 0 <= place < len(known) else None
        return sorted(allowed) if allowed is not None else list(range(256))

    def _points(self) -> str:
        """The expression of all point bits as one number, the first point the most significant."""
        bits = tuple(bit for point in self.field.points for bit in point)
        return gathered(self.values.layout, bits) if bits else ""

    def _shapes(self) -> dict[int, tuple[int, int]]:
        """(decimals, digits before the point) for each state of the points but those with two lit."""
        count, digits = len(self.field.points), len(self.field.digits)
        shapes = {0: (0, digits)}
        for place in range(count):
            shapes[1 << (count - 1 - place)] = (digits - 1 - place, place + 1)
        return shapes

    def _reader(self) -> Callable[[tuple[int, ...], int, int], Slow]:
        words = {word_code(word) for word in self.field.special}
        table, count = self.table, len(self.field.points)

        def read(codes: tuple[int, ...], points: int, minus: int) -> Slow:
            """counts, decimals, width, zero with a minus, special word; counts None where it is none."""
            figures = [table.get(code) for code in codes]
            if None in figures:
                return None, 0, 1, False, None
            word = "".join(figure or "" for figure in figures).strip().encode("latin-1")
            if word in words:
                return 0, 0, 1, False, word
            text = "-" if minus else ""
            for place, figure in enumerate(figures):
                text += figure or ""
                if place < count and points >> (count - 1 - place) & 1:
                    text += "."
            match = _FIGURES.fullmatch(text)
            if not match:
                return None, 0, 1, False, None
            sign, before, after = match.groups(default="")
            counts = int(before + after)
            return -counts if sign else counts, len(after), len(before), bool(sign) and not counts, None

        return read


def _size(allowed: list[list[int]]) -> int:
    total = 1
    for values in allowed:
        total *= len(values)
    return total
