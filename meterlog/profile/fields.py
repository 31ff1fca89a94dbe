"""A field of a profile to Python text: where its bytes are and what number or word they make."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.profile.places import Bits, Span, characters, parse_code
from meterlog.profile.segments import segment_table

if TYPE_CHECKING:
    from meterlog.profile.code import Code
    from meterlog.profile.language import FieldText
    from meterlog.source import Problems

NUMBER = rb" *([-+]?) *(?=\.?\d)(\d{0,15}+)\.?+(\d{0,15}+)(?:[eE]([-+]?\d{1,2}))? *"
"""A decimal text in four groups: sign, digits before the point, after it, exponent."""
_INT = re.compile(r"([ui])(8|16|24|32|40|48|56|64)(?: (big|little|[A-H]{2,8}))?")
_DECIMAL = re.compile(r"decimal(?: (\d{1,2})\.(\d{1,2}))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A field's value in generated code.

    Attributes:
        kind: "int" and "bytes" are one expression; "number" and "display" are parts of a number.
        name: the field's.
        expr: the expression of an int or of bytes.
        width: digits before the point, where the profile fixes them.
        parts: names of variables; number: sign, before, after, exponent, special; display: see there.
    """

    kind: str
    name: str
    expr: str = ""
    parts: tuple[str, ...] = ()
    width: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What the bytes of a frame are counted by.

    Attributes:
        base: the number of the first byte.
        tail: bytes of the end mark, which negative places do not count.
        length: bytes of every frame, None where it varies.
    """

    base: int
    tail: int
    length: int | None

    def index(self, place: int) -> int:
        """A Python index from a place as the profile writes it."""
        return place - self.base if place >= 0 else place - self.tail

    def slice(self, span: Span) -> str:
        first, last = self.index(span.first), self.index(span.last)
        end = "" if last == -1 else str(last + 1)
        return f"f[{first}:{end}]"


def integer(layout: Layout, span: Span, signed: bool, order: str) -> str:
    """The expression of a whole number in bytes."""
    size = span.last - span.first + 1
    if size == 1 and not signed:
        return f"f[{layout.index(span.first)}]"
    sign = ", signed=True" if signed else ""
    if order in ("big", "little"):
        return f"int.from_bytes({layout.slice(span)}, '{order}'{sign})"
    places = sorted(range(size), key=lambda k: order[k])
    picked = ", ".join(f"f[{layout.index(span.first) + k}]" for k in places)
    return f"int.from_bytes(({picked}), 'big'{sign})"


def gathered(layout: Layout, places: tuple[Bits, ...]) -> str:
    """The expression of bits of several bytes put side by side, the first the most significant."""
    parts = []
    left = sum(place.width for place in places)
    for place in places:
        left -= place.width
        low, mask = min(place.high, place.low), (1 << place.width) - 1
        byte = f"f[{layout.index(place.byte)}]"
        part = f"{byte} >> {low} & {mask}" if low else f"{byte} & {mask}"
        parts.append(f"({part}) << {left}" if left else f"({part})")
    return " | ".join(parts)


class Fields:
    """Writes the fields of one message into code."""

    def __init__(self, code: Code, layout: Layout, problems: Problems) -> None:
        self.code = code
        self.layout = layout
        self.problems = problems

    def placed(self, name: str, field: FieldText) -> Value | None:
        """The value of a field that says its own place; None where it does not."""
        if field.digits:
            return self._display(name, field)
        span = field.byte or field.bytes
        if span is None:
            if field.bits and isinstance(field.bits[0], Bits):
                places: Any = field.bits
                return Value(kind="int", name=name, expr=gathered(self.layout, places))
            return None
        kind = field.kind or "u"
        if kind == "text":
            return Value(kind="bytes", name=name, expr=f"{self.layout.slice(span)}.strip()")
        if _DECIMAL.fullmatch(kind):
            return self._column(name, field, span)
        expr = self._whole(name, field, span, kind)
        if field.bits and not isinstance(field.bits[0], Bits):
            high, low = field.bits
            mask = (1 << high - low + 1) - 1
            expr = f"{expr} >> {low} & {mask}" if low else f"{expr} & {mask}"
        return Value(kind="int", name=name, expr=expr)

    def _whole(self, name: str, field: FieldText, span: Span, kind: str) -> str:
        match = _INT.fullmatch(kind)
        size = span.last - span.first + 1
        if kind == "u" and size == 1:
            return integer(self.layout, span, False, "big")
        if match and int(match[2]) == 8 * size and (size == 1 or match[3]):
            return integer(self.layout, span, match[1] == "i", match[3] or "big")
        field.where.tell(
            self.problems, "as", expected=f"how {size} bytes are read, such as u{8 * size} big",
            saw=field.kind or "nothing", hint="big: the most significant byte comes first; little: it comes last",
        )  # fmt: skip
        return "0"

    def _column(self, name: str, field: FieldText, span: Span) -> Value:
        pattern = self.code.constant(re.compile(number_pattern(field)).fullmatch, "number")
        self.code.add(f"m = {pattern}({self.layout.slice(span)})")
        self.code.add("if m is None:")
        self.code.add(f"    return {self.code.constant(f'{name}: bytes {span} hold no number')}")
        parts = number_parts(name, bool(field.special))
        self.code.add(f"{', '.join(parts)} = m.groups()")
        return Value(kind="number", name=name, parts=parts, width=fixed_width(field))

    def _display(self, name: str, field: FieldText) -> Value:
        """Seven-segment digits; parts: the text of the digits with its point and minus."""
        table = self.code.constant(segment_table(field.segments), "segments")
        chars = []
        for number, places in enumerate(field.digits, start=1):
            var = f"{name}_{number}"
            self.code.add(f"{var} = {table}.get({gathered(self.layout, places)})")
            chars.append(var)
        self.code.add(f"if {' is None or '.join(chars)} is None:")
        reason = self.code.constant(f"{name}: a digit's segments are no figure")
        self.code.add(f"    return {reason}")
        pieces = []
        for var, places in zip(chars, [*field.points, *[()] * len(chars)], strict=False):
            pieces.append(var)
            if places:
                pieces.append(f"('.' if {gathered(self.layout, places)} else '')")
        minus = f"('-' if {gathered(self.layout, field.minus)} else '')" if field.minus else "''"
        return Value(kind="display", name=name, expr=" + ".join([minus, *pieces]))


def fixed_width(field: FieldText | None) -> int | None:
    """Digits before the point that `decimal 3.1` fixes."""
    match = _DECIMAL.fullmatch(field.kind) if field else None
    return int(match[1]) if match and match[1] else None


def number_parts(name: str, special: bool) -> tuple[str, ...]:
    parts = tuple(f"{name}_{part}" for part in ("sign", "before", "after", "exponent"))
    return (*parts, f"{name}_special") if special else parts


def number_pattern(field: FieldText) -> bytes:
    """The pattern of a decimal text, with its special words as a fifth group."""
    match = _DECIMAL.fullmatch(field.kind or "decimal")
    assert match
    number = NUMBER
    if match[1]:
        number = rb" *([-+]?) *(\d{%d})\.(\d{%d})()" % (int(match[1]), int(match[2]))
    words = b"|".join(re.escape(characters(word).strip().encode("latin-1")) for word in field.special)
    return rb"(?:%s| *(%s) *)" % (number, words) if words else number


def code_key(kind: str, text: str) -> object:
    """A code of a table as the generated decoder sees it."""
    return word_code(text) if kind in ("bytes", "number", "display") else parse_code(text)


def word_code(text: str) -> bytes:
    """A code that is a text, as the bytes of it without blanks around."""
    return characters(text).strip().encode("latin-1")
