"""A field of a profile to what reads it: the number, the digits or the word that its bytes make."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from meterlog.profile.compile.codes import figures_code
from meterlog.profile.compile.layout import ByteNumbering, gathered, integer, ordered
from meterlog.profile.compile.numbers import digits_of, number_pattern
from meterlog.profile.compile.view import NotBelieved
from meterlog.profile.language.kinds import NumberKind, parse_kind
from meterlog.profile.language.places import Bits, Span

if TYPE_CHECKING:
    from meterlog.base.schema import Where
    from meterlog.base.source import Problems
    from meterlog.profile.compile.view import FrameReader, ReadStep, View
    from meterlog.profile.language.content import Field

OWN = "R"
"""Begins the name of a number whose place a reading says itself; a field's name is in small letters."""
_WORDS = re.compile(rb"[^\s,;|/]+")
_HEX = re.compile(rb"[0-9A-Fa-f]{1,16}")
_DECIMALS = re.compile(rb"[0-9]{1,18}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A field as it is read.

    Attributes:
        kind: "int" (or the bytes of a special value), "bytes", "float", "words" (a tuple of them), or "digits" for what
            shows a point.
        read: what answers it; of a field that is held, from the view.
        bits: the most bits of an int.
        sign: how an int tells its sign: "i" two's complement, "sm" by its top bit, "" not at all.
        is_kept: an earlier message has told it, or none has yet.
    """

    kind: str
    name: str
    read: FrameReader
    bits: int = 64
    sign: str = ""
    field: Field | None = None
    is_kept: bool = False

    @property
    def span(self) -> range:
        """The whole numbers that an int can be."""
        half = 1 << self.bits - 1
        return {"": range(2 * half), "i": range(-half, half), "sm": range(1 - half, half)}[self.sign]

    @property
    def title(self) -> str:
        """Its name; "" of a number whose place a reading says itself."""
        return "" if self.name.startswith(OWN) else self.name

    def __hash__(self) -> int:
        return id(self)


def reason(name: str, words: str) -> str:
    """Words on a field with its name, where it has one."""
    return f"{name}: {words}" if name and not name.startswith(OWN) else words


class Values:
    """Makes the readers of one message's fields, and knows them by name."""

    def __init__(self, layout: ByteNumbering, problems: Problems) -> None:
        self.layout = layout
        self.problems = problems
        self.steps: list[ReadStep] = []
        self.known: dict[str, Value] = {}
        self.needs = 0  # bytes before the end mark of the shortest frame that has all that is looked at

    def hold(self, value: Value) -> Value:
        """Read a value once a frame, and remember it under its name."""
        name, read = value.name, value.read

        def step(view: View) -> None:
            view.values[name] = read(view)

        self.steps.append(step)
        held = replace(value, read=lambda view: view.values[name])
        self.known[name] = held
        return held

    def kind_of(self, field: Field, size: int | None) -> NumberKind | None:
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

    # -- at a place of the frame ---------------------------------------------------

    def placed(self, name: str, field: Field) -> Value | None:
        """The value of a field that says its bytes or bits; None where it does not, or is wrong."""
        span = field.byte or field.bytes
        if span is None:
            return self._of_bits(name, field)
        self.reach(field.where, [span.first, span.last])
        size = self.layout.size(span)
        kind = self.kind_of(field, size)
        if kind is None:
            return None
        if size is None and kind.size is not None:
            field.where.tell(self.problems, "bytes", expected="bytes that are as many in every frame", saw=str(span))
            return None
        value = self._at(name, field, span, kind)
        return self._bits_of(field, value) if field.bits else value

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

    def _of_bits(self, name: str, field: Field) -> Value | None:
        """Bits of several bytes as one number: plain, decimal figures of four bits, or two's complement."""
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
        gather, bits = gathered(self.layout, places), sum(place.width for place in places)
        if re.fullmatch("bcd( blank [A-F])?", field.kind):
            figures = -(-bits // 4)
            text = _blanked(parse_kind(field.kind).blank, lambda view: f"{gather(view.frame):0{figures}x}".encode())
            return _figures(name, field, text, "a figure that is no decimal in its bits")
        if field.kind == "signed bits":
            top = 1 << bits - 1
            return Value(
                kind="int", name=name, read=lambda v: (gather(v.frame) ^ top) - top, bits=bits, sign="i", field=field
            )
        if field.kind:
            field.where.tell(self.problems, "as", expected="bcd, signed bits, or nothing, beside bits", saw=field.kind)
            return None
        return Value(kind="int", name=name, read=lambda view: gather(view.frame), bits=bits, field=field)

    def _bits_of(self, field: Field, value: Value) -> Value | None:
        match field.bits:
            case (int(high), int(low)) if value.kind == "int":
                mask, read = (1 << high - low + 1) - 1, value.read
                return replace(value, read=lambda view: read(view) >> low & mask, bits=high - low + 1, sign="")
        field.where.tell(
            self.problems, "bits", expected="bits such as 7..4 of a whole number", saw=field.kind or "other bits"
        )
        return None

    def _at(self, name: str, field: Field, span: Span, kind: NumberKind) -> Value:
        """The value of bytes of a kind."""
        layout, where, bits = self.layout, self.layout.slice(span), 8 * (kind.size or 1)
        if kind.name in ("u", "i", "sm"):
            number = integer(layout, span, signed=kind.name == "i", order=kind.order)
            if kind.name == "sm":
                top = 1 << bits - 1
                read: FrameReader = lambda view: _signed_magnitude(number(view.frame), top)  # noqa: E731
            else:
                read = lambda view: number(view.frame)  # noqa: E731
            return Value(kind="int", name=name, read=read, bits=bits, sign=kind.name.strip("u"), field=field)
        if kind.name == "f":
            unpack, turned = struct.Struct(">f" if kind.size == 4 else ">d").unpack, ordered(layout, span, kind.order)
            return Value(
                kind="float", name=name, read=lambda view: unpack(turned(view.frame))[0], bits=bits, field=field
            )
        if kind.name.endswith("bcd"):
            step, every = (-1 if kind.order == "little" else 1), (2 if kind.name.startswith("unpacked") else 1)
            digits = _blanked(kind.blank, lambda v: v.frame[where][::step].hex()[every - 1 :: every].encode())
            return _figures(name, field, digits, f"a figure that is no decimal in bytes {span}")
        return self.of_text(name, field, lambda view: view.frame[where], kind, f"bytes {span}")

    # -- in a text -------------------------------------------------------------------

    def of_text(self, name: str, field: Field, text: FrameReader, kind: NumberKind, where: str) -> Value:
        """The value of bytes that hold a text; `text` answers them."""
        if kind.name == "text":
            return Value(kind="bytes", name=name, read=lambda view: text(view).strip(), field=field)
        if kind.name == "words":
            return Value(kind="words", name=name, read=lambda v: tuple(_WORDS.findall(text(v))), field=field)
        if kind.name == "digits":
            step = -1 if kind.order == "little" else 1
            return _figures(name, field, lambda view: text(view)[::step].strip(), f"other than digits in {where}")
        if kind.name == "hex":
            return _hex(name, field, lambda view: text(view).strip(), f"other than hex digits in {where}", kind.signed)
        match, digits = re.compile(number_pattern(field, kind)).fullmatch, digits_of(_shown(name), field, kind)
        wrong = reason(name, f"no such number in {where}")

        def read(view: View) -> Any:
            found = match(text(view))
            if found is None:
                raise NotBelieved(wrong)
            return digits(found.groups())

        return Value(kind="digits", name=name, read=read, field=field)


def _shown(name: str) -> str:
    return "" if name.startswith(OWN) else name


def _signed_magnitude(number: int, top: int) -> int:
    return -(number & top - 1) if number & top else number


def _blanked(blank: str, text: FrameReader) -> FrameReader:
    """Figures without the leading ones that show nothing."""
    if not blank:
        return text
    byte = blank.encode()
    return lambda view: text(view).lstrip(byte)


def _figures(name: str, field: Field, text: FrameReader, wrong: str) -> Value:
    """A whole number written in decimal figures, or one of its special values."""
    why, words = reason(name, wrong), set()
    for word in field.special_words:
        if not re.fullmatch(r"-?\d+", word):
            try:
                words.add(figures_code(field, word))
            except ValueError:
                continue  # one that can be none is told with the rows of its table

    def read(view: View) -> int | bytes:
        figures: bytes = text(view)
        if figures in words:
            return figures
        if not _DECIMALS.fullmatch(figures):
            raise NotBelieved(why)
        return int(figures)

    return Value(kind="int", name=name, read=read, bits=60, field=field)


def _hex(name: str, field: Field, text: FrameReader, wrong: str, signed: bool) -> Value:
    """A whole number written in hex digits; signed: two's complement of as many bits as the digits have."""
    why = reason(name, wrong)

    def read(view: View) -> int:
        figures: bytes = text(view)
        if not _HEX.fullmatch(figures):
            raise NotBelieved(why)
        number, bits = int(figures, 16), 4 * len(figures)
        return number - (number >> bits - 1 << bits) if signed else number

    return Value(kind="int", name=name, read=read, bits=64 if signed else 60, sign="i" if signed else "", field=field)
