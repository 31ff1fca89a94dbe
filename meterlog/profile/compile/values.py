"""A field of a profile to generated code: the number or word that its bytes make."""

from __future__ import annotations

import contextlib
import re
import struct
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile.compile.layout import Layout, gathered, integer, ordered
from meterlog.profile.language.kinds import Kind, parse_kind
from meterlog.profile.language.places import Bits, Span, characters, parse_code

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.base.schema import Where
    from meterlog.base.source import Problems
    from meterlog.profile.compile.code import Code
    from meterlog.profile.language.content import Field

NUMBER = rb" *+([-+]?) *+(?=\.?\d)(\d{0,15}+)(?:\.|(?!\d))(\d{0,15}+)(?:[eE]([-+]?\d{1,2}))? *+"
"""A decimal text in four groups: sign, digits before the point, after it, exponent."""
OWN = "R"
"""Begins the name of a number whose place a reading says itself; a field's name is in small letters."""
NOT_A_NUMBER = "nan"
"""The code of every float that is no number; no two of them are equal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A field's value in generated code.

    Attributes:
        kind: "int", "bytes" and "float" are one expression; "number" is a decimal text in parts;
            "display" is seven-segment digits, see `profile.display`.
        expr: the expression, a variable once it is held.
        parts: of a number, names of variables: sign, before, after, exponent, special word; "" for none.
        width: digits before the point, where the profile fixes them.
        bits: the most bits of an int.
        sign: how an int tells its sign: "i" two's complement, "sm" by its top bit, "" not at all.
        is_kept: an earlier message has told it, or none has yet.
    """

    kind: str
    name: str
    expr: str = ""
    parts: tuple[str, ...] = ()
    width: int | None = None
    bits: int = 64
    sign: str = ""
    field: Field | None = None
    is_kept: bool = False

    @property
    def span(self) -> range:
        """The whole numbers that an int can be."""
        half = 1 << self.bits - 1
        return {"": range(2 * half), "i": range(-half, half), "sm": range(1 - half, half)}[self.sign]


class Values:
    """Writes the fields of one message into code, each once, and knows them by name."""

    def __init__(self, code: Code, layout: Layout, problems: Problems) -> None:
        self.code = code
        self.layout = layout
        self.problems = problems
        self.known: dict[str, Value] = {}
        self.needs = 0  # bytes before the end mark of the shortest frame that has all that is looked at

    def hold(self, value: Value) -> Value:
        """Remember a value; an expression is put into a variable, so that it is worked out once."""
        if value.kind in ("int", "bytes", "float") and not value.expr.isidentifier():
            self.code.add(f"v_{value.name} = {value.expr}")
            value = replace(value, expr=f"v_{value.name}")
        self.known[value.name] = value
        return value

    def fail(self, condition: str, reason: str, name: str = "") -> None:
        """Code that rejects the frame when a condition holds, for a reason that is a field's where one is named."""
        if name and not name.startswith(OWN):
            reason = f"{name}: {reason}"
        self.code.add(f"if {condition}: return {self.code.constant(reason, 'why')}")

    def kind_of(self, field: Field, size: int | None) -> Kind | None:
        try:
            return parse_kind(field.kind, size)
        except ValueError as error:
            field.where.tell(
                self.problems,
                "as",
                expected="how it is read, such as u16 big, decimal, text",
                saw=field.kind or "nothing",
                hint=str(error),
            )
            return None

    def placed(self, name: str, field: Field) -> Value | None:
        """The value of a field that says its bytes or bits; None where it does not, or is wrong."""
        span = field.byte or field.bytes
        if span is None:
            assert field.bits
            places = tuple(place for place in field.bits if isinstance(place, Bits))
            if len(places) != len(field.bits):
                field.where.tell(
                    self.problems,
                    "bits",
                    expected="bits with their bytes, such as 2.3..0",
                    saw="bits alone",
                    hint="or add `byte`",
                )
                return None
            self.reach(field.where, [place.byte for place in places])
            return self._side_by_side(name, field, places)
        self.reach(field.where, [span.first, span.last])
        size = self.layout.size(span)
        kind = self.kind_of(field, size)
        if kind is None:
            return None
        if size is None and kind.size is not None:
            field.where.tell(self.problems, "bytes", expected="bytes that are as many in every frame", saw=str(span))
            return None
        value = self._read(name, field, span, kind)
        return self._bits_of(field, value) if field.bits else value

    def _side_by_side(self, name: str, field: Field, places: tuple[Bits, ...]) -> Value | None:
        """Bits of several bytes as one number: plain, decimal figures of four bits, or two's complement."""
        expr, bits = gathered(self.layout, places), sum(place.width for place in places)
        if re.fullmatch("bcd( blank [A-F])?", field.kind):
            figures, blank = f"'%0{-(-bits // 4)}x' % {expr}", parse_kind(field.kind).blank
            figures = f"({figures}).lstrip({blank!r})" if blank else figures
            return self._figures(name, field, figures, "isdecimal", "a figure that is no decimal in its bits", 10)
        if field.kind == "signed bits":
            top = 1 << bits - 1
            return Value(kind="int", name=name, expr=f"({expr} ^ {top}) - {top}", bits=bits, sign="i", field=field)
        if field.kind:
            field.where.tell(self.problems, "as", expected="bcd, signed bits, or nothing, beside bits", saw=field.kind)
            return None
        return Value(kind="int", name=name, expr=expr, bits=bits, field=field)

    def reach(self, where: Where, places: list[int]) -> None:
        """Tell when a place lies outside a frame of fixed length, or before its first byte."""
        if self.layout.uneven and min(places) < 0:
            where.tell(
                self.problems,
                expected="places counted from the front, for the end marks differ in length",
                saw=f"byte {min(places)}",
            )
            return
        for place in places:
            index = self.layout.index(place)
            self.needs = max(self.needs, index + 1 if place >= 0 else -place)
            if place >= 0 and index < 0:
                where.tell(
                    self.problems,
                    expected=f"bytes from {self.layout.base} up",
                    saw=f"byte {place}",
                    hint="`first byte` says what the manual calls the first",
                )
            elif self.layout.length is not None and not 0 <= index < self.layout.length:
                last = self.layout.length - 1 + self.layout.base
                where.tell(
                    self.problems, expected=f"bytes {self.layout.base}..{last} of the frame", saw=f"byte {place}"
                )

    def _bits_of(self, field: Field, value: Value) -> Value | None:
        match field.bits:
            case (int(high), int(low)) if value.kind == "int":
                pass
            case _:
                field.where.tell(
                    self.problems,
                    "bits",
                    expected="bits such as 7..4 of a whole number",
                    saw=field.kind or "other bits",
                )
                return None
        mask = (1 << high - low + 1) - 1
        return replace(value, expr=f"({value.expr} >> {low} & {mask})", bits=high - low + 1, sign="")

    def _read(self, name: str, field: Field, span: Span, kind: Kind) -> Value:
        """The value of bytes of a kind."""
        text = self.layout.slice(span)
        bits = 8 * (kind.size or 1)
        if kind.name in ("u", "i"):
            expr = self._unpacked(span, kind) or integer(self.layout, span, signed=kind.name == "i", order=kind.order)
            return Value(kind="int", name=name, expr=expr, bits=bits, sign=kind.name.strip("u"), field=field)
        if kind.name == "sm":
            whole = self.hold(
                Value(kind="int", name=f"{name}_raw", expr=integer(self.layout, span, signed=False, order=kind.order))
            )
            top = 1 << bits - 1
            expr = f"(-({whole.expr} & {top - 1}) if {whole.expr} & {top} else {whole.expr})"
            return Value(kind="int", name=name, expr=expr, bits=bits, sign="sm", field=field)
        if kind.name == "f":
            unpack = self.code.constant(struct.Struct(">f" if kind.size == 4 else ">d").unpack, "unpack")
            return Value(
                kind="float",
                name=name,
                expr=f"{unpack}({ordered(self.layout, span, kind.order)})[0]",
                field=field,
                bits=bits,
            )
        if kind.name.endswith("bcd"):
            turned = f"{text}[::-1]" if kind.order == "little" else text
            digits = f"{turned}.hex()" + ("[1::2]" if kind.name.startswith("unpacked") else "")
            digits += f".lstrip({kind.blank!r})" if kind.blank else ""
            return self._figures(name, field, digits, "isdecimal", f"a figure that is no decimal in bytes {span}", 10)
        return self.of_bytes(name, field, text, kind, f"bytes {span}")

    def _unpacked(self, span: Span, kind: Kind) -> str | None:
        """The expression of a signed or long number by `struct`, where it stands at a place from the front."""
        letter = {1: "b", 2: "h", 4: "i", 8: "q"}.get(kind.size or 0)
        first = self.layout.index(span.first)
        known = kind.order in ("big", "little")
        if letter is None or first < 0 or not known or (kind.name == "u" and (kind.size or 0) < 4):
            return None
        form = (">" if kind.order == "big" else "<") + (letter if kind.name == "i" else letter.upper())
        return f"{self.code.constant(struct.Struct(form).unpack_from, 'unpack')}(f, {first})[0]"

    def of_bytes(self, name: str, field: Field, expr: str, kind: Kind, where: str) -> Value:
        """The value of bytes that hold a text."""
        if kind.name == "text":
            return Value(kind="bytes", name=name, expr=f"{expr}.strip()", field=field)
        if kind.name == "digits":
            turned = f"{expr}[::-1]" if kind.order == "little" else expr
            return self._figures(name, field, f"{turned}.strip()", "isdigit", f"other than digits in {where}", 10)
        if kind.name == "hex":
            pattern = self.code.constant(re.compile(rb"[0-9A-Fa-f]{1,16}").fullmatch, "hex")
            value = self._figures(name, field, f"{expr}.strip()", pattern, f"other than hex digits in {where}", 16)
            return self._signed_hex(value) if kind.signed else value
        pattern = self.code.constant(re.compile(number_pattern(field, kind)).fullmatch, "number")
        self.code.add(f"m = {pattern}({expr})")
        self.fail("m is None", f"no such number in {where}", name)
        parts = number_parts(name, field)
        self.code.add(f"{', '.join(filter(None, parts))} = m.groups()")
        return Value(kind="number", name=name, parts=parts, width=kind.before, field=field)

    def _signed_hex(self, value: Value) -> Value:
        """Two's complement of as many bits as the hex digits have."""
        bits = f"(4 * len(t_{value.name}))"
        raw = self.hold(replace(value, name=f"{value.name}_raw"))
        return replace(value, expr=f"({raw.expr} - (({raw.expr} >> {bits} - 1) << {bits}))", bits=64, sign="i")

    def _figures(self, name: str, field: Field, text: str, test: str, reason: str, base: int) -> Value:
        """A whole number written in figures."""
        self.code.add(f"t_{name} = {text}")
        proved = f"{test}(t_{name})" if base == 16 else f"t_{name}.{test}()"
        words = frozenset(self._figure_words(field))
        if words and base == 10:
            special = self.code.constant(words, "special")
            plain = f"t_{name} if t_{name}.__class__ is bytes else t_{name}.encode()"
            self.code.add(f"x_{name} = {plain}")
            self.fail(f"not ({proved} or x_{name} in {special}) or len(t_{name}) > 18", reason, name)
            self.code.add(f"if x_{name} in {special}: v_{name} = x_{name}")
            self.code.add(f"else: v_{name} = int(t_{name})")
            return Value(kind="int", name=name, expr=f"v_{name}", bits=60, field=field)
        self.fail(f"not {proved} or len(t_{name}) > 18", reason, name)
        return Value(
            kind="int",
            name=name,
            expr=f"int(t_{name}, {base})" if base == 16 else f"int(t_{name})",
            bits=60,
            field=field,
        )

    @staticmethod
    def _figure_words(field: Field) -> Iterator[bytes]:
        """The special values of figures that are no number; one that can be none is told with the table's rows."""
        for word in field.special:
            if not re.fullmatch(r"-?\d+", word):
                with contextlib.suppress(ValueError):
                    yield figures_code(field, word)


def number_parts(name: str, field: Field | None) -> tuple[str, ...]:
    """The variables of a decimal text; "" for an exponent or special word where there can be none, and for the sign of
    a fixed form, which stays with the digits before the point."""
    parts = [f"{name}_{part}" for part in ("sign", "before", "after", "exponent")]
    if field is not None and any(figure in field.kind for figure in "0123456789"):
        parts[0] = parts[3] = ""
    return (*parts, f"{name}_special" if field is not None and _special_words(field) else "")


_NUMERIC = re.compile(NUMBER.decode())


def _special_words(field: Field) -> list[str]:
    return [word for word in field.special if not _numeric(field, word)]


def _numeric(field: Field, word: str) -> re.Match[str] | None:
    """A special value that is written as a number, in its groups."""
    return _NUMERIC.fullmatch(word.replace(",", ".") if "comma" in field.kind else word)


def special_numbers(field: Field) -> dict[tuple[int, int], bytes]:
    """Special values that are written as numbers, such as 9.9E37, by their trimmed (counts, decimals)."""
    found = {}
    for word in field.special:
        match = _numeric(field, word)
        if match:
            sign, before, after, exponent = match.groups()
            counts = int(before + after) * (-1 if sign == "-" else 1)
            found[trimmed(counts, len(after) - int(exponent or 0))] = word_code(word)
    return found


def trimmed(counts: int, decimals: int) -> tuple[int, int]:
    """The same number without zeros at its end.

    >>> trimmed(99000, 3), trimmed(0, 5)
    ((99, 0), (0, 0))
    """
    if not counts:
        return 0, 0
    while counts % 10 == 0:
        counts, decimals = counts // 10, decimals - 1
    return counts, decimals


def number_pattern(field: Field | None, kind: Kind) -> bytes:
    """The pattern of a decimal text, with its special words as a fifth group."""
    number = NUMBER
    if kind.before is not None:
        number = rb" *+([-+]?\d{%d})\.(\d{%d})" % (kind.before, kind.after or 0)
        if not kind.after:
            number = rb" *+([-+]?\d{%d})()" % kind.before
    if kind.signed:
        number = number.replace(b"[-+]?", b"[-+]", 1)
    number = number.replace(rb"\.", re.escape(kind.point.encode()))
    words = [re.escape(word_code(word)) for word in _special_words(field)] if field else []
    return rb"(?:%s| *+(%s) *+)" % (number, b"|".join(words)) if words else number


def code_key(value: Value, text: str) -> object:
    """A code of a table as the generated decoder sees it. Raises: ValueError with a hint."""
    if value.kind == "int":
        field = value.field
        in_figures = field is not None and re.match("(unpacked )?bcd|digits", field.kind)
        if field is not None and in_figures and not re.fullmatch(r"-?\d+", text):
            return figures_code(field, text)
        if field is not None and field.kind.endswith("hex") and re.fullmatch(r"[0-9A-Fa-f]+", text):
            return _signed(int(text, 16), 4 * len(text), value.sign)
        return _signed(parse_code(text), value.bits, value.sign if text[:2] in ("0x", "0b") else "")
    return _float_code(text, value.bits) if value.kind == "float" else word_code(text)


def _float_code(text: str, bits: int) -> float | str:
    """The float that a special value is, rounded as the frame holds it."""
    if not re.fullmatch(r"[-+]?(inf|nan|\d+\.?\d*([eE][-+]?\d{1,3})?)", text):
        raise ValueError("write a number such as 9.9E37, inf, -inf or nan")
    form = ">f" if bits == 32 else ">d"
    try:
        number = float(struct.unpack(form, struct.pack(form, float(text)))[0])
    except OverflowError:
        raise ValueError(f"no number of {bits} bits is so large") from None
    return number if number == number else NOT_A_NUMBER


def _signed(pattern: int, bits: int, sign: str) -> int:
    """The number that a pattern of bits is, as manuals print codes: 0x8001 of `i16` is -32767."""
    if not sign or pattern >> bits - 1 != 1:
        return pattern
    if sign == "i":
        return pattern - (1 << bits)
    if pattern == 1 << bits - 1:
        raise ValueError("it is read as 0: the top bit is the sign")
    return (1 << bits - 1) - pattern


def figures_code(field: Field, text: str) -> bytes:
    """A special value in figures; of BCD in hex, such as FFFFFF or 0xffffff.

    Raises: ValueError where it can be no such value.
    """
    if "bcd" not in field.kind:
        return word_code(text)
    figures = text.removeprefix("0x").lower()
    blank = parse_kind(field.kind).blank
    if blank and not figures.strip(blank):
        return b""
    if not re.fullmatch(r"[0-9a-f]{1,18}", figures):
        raise ValueError("of BCD a special value is written in its hex digits, such as FFFFFF")
    return figures.encode()


def word_code(text: str) -> bytes:
    """A code that is a text, as the bytes of it without blanks around."""
    return characters(text).strip().encode("latin-1")
