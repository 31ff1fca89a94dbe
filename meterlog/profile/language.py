"""The keys of the profile language: shapes that read a YAML text into records, as it stands.

What the records mean is the compiler's matter; here stands only what may be written where. The
sentence beside each key is what editors show and what the manual is held to.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from meterlog import units
from meterlog.profile.facts import MODES, Facts, parse_facts, step
from meterlog.profile.places import (
    Bits,
    Span,
    characters,
    parse_bit_range,
    parse_bits,
    parse_bytes,
    parse_span,
)
from meterlog.schema import ByKind, Key, ListOf, MapOf, Record, Scalar, Shape, Where, choice, text, whole, yes_no

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

NAME = r"[a-z][a-z0-9_]{0,40}"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineText:
    baud: int
    data_bits: int
    parity: str
    stop_bits: str
    dtr: bool
    rts: bool
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedText:
    bits: tuple[int, int]
    first: int
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameText:
    start: bytes
    end: tuple[bytes, ...]
    length: int | None
    numbered: NumberedText | None
    longest: int
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldText:
    byte: Span | None
    bytes: Span | None
    bits: tuple[Bits, ...] | tuple[int, int] | None
    kind: str
    value: tuple[str, ...]
    means: Mapping[str, Facts | Mapping[str, Facts]]
    under: str
    special: Mapping[str, Facts]
    segments: str
    digits: tuple[tuple[Bits, ...], ...]
    points: tuple[tuple[Bits, ...], ...]
    minus: tuple[Bits, ...] | None
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingText:
    value: str
    channel: str
    quantity: str | None
    unit: str | None
    mode: str | None
    decimals: int | None
    step: Facts | None
    flags: tuple[str, ...]
    by: tuple[str, ...]
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleText:
    frame: bytes
    shows: tuple[str, ...] | None
    rejected: str | None
    where: Where


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileText:
    profile: str
    title: str
    licence: str
    source: str
    note: str
    line: LineText | None
    first_byte: int
    frame: FrameText
    text: str
    fields: Mapping[str, FieldText]
    bits: Mapping[tuple[Bits, ...], Facts]
    readings: tuple[ReadingText, ...]
    examples: tuple[ExampleText, ...]
    where: Where = field(default_factory=lambda: Where(place=None, path=""))  # type: ignore[arg-type]


def _called(make: Callable[..., Any], **names: str) -> Callable[..., Any]:
    """`make` for a record whose keys are words that Python keeps to itself."""

    def made(**said: Any) -> Any:
        return make(**{names.get(key, key): value for key, value in said.items()})

    return made


def _parsed(expected: str, parse: Callable[[str], Any], pattern: str = "") -> Scalar:
    schema: dict[str, Any] = {"type": ["string", "number", "boolean"]}
    return Scalar(expected, parse, {"type": "string", "pattern": pattern} if pattern else schema)


def _one(shape: Scalar) -> Shape:
    """A list, of which a single item may stand alone; read as a tuple."""
    alone = Scalar(shape.expected, lambda value: (shape.parse(value),), shape.schema)
    return ByKind(scalar=alone, sequence=ListOf(shape, least=1))


def _quantity(value: str) -> str:
    name = value.replace(" ", "_")
    if name not in units.QUANTITIES:
        from meterlog.source import near_miss

        raise ValueError(near_miss(name, units.QUANTITIES))
    return name


def _unit(value: str) -> str:
    from meterlog.profile.facts import known_unit

    return known_unit(value, value)


def _bits_anywhere(value: str) -> tuple[Bits, ...] | tuple[int, int]:
    return parse_bits(value) if re.search(r"\d\.\d", value.replace("..", " ")) else parse_bit_range(value)


def _template(value: str) -> str:
    return characters(value)


BYTES = _parsed("bytes: a text such as <STX>OK<CR>, or hex 55 AA", parse_bytes)
SPAN = _parsed("bytes such as 3 or 3..6 (-1 is the last)", parse_span, r"^-?\d+(\.\.-?\d+)?$")
BITS = _parsed("bits such as 2.3, or 2.2..0 3.3..0", parse_bits)
FACTS = _parsed('what it means, such as "dc voltage", "6.000 V", "flag hold", "overload"', parse_facts)
CODE = text("a code: a number, 0x3B, or the text itself")
FIELD_NAME = text("a field's name (small letters, digits, _)", NAME)

LINE = Record(
    "line",
    LineText,
    {
        "baud": Key(shape=whole(50, 4_000_000), doc="bits a second", default=9600),
        "data bits": Key(shape=whole(5, 8), doc="data bits of a character", default=8),
        "parity": Key(shape=choice("none", "even", "odd", "mark", "space"), doc="parity bit", default="none"),
        "stop bits": Key(shape=choice("1", "1.5", "2"), doc="stop bits", default="1"),
        "dtr": Key(shape=yes_no(), doc="level of the DTR wire; optical cables are powered from it", default=True),
        "rts": Key(shape=yes_no(), doc="level of the RTS wire", default=True),
    },
    doc="How the serial line is set.",
)

NUMBERED = Record(
    "numbered",
    NumberedText,
    {
        "bits": Key(
            shape=_parsed("bits such as 7..4", parse_bit_range), doc="where each byte says its number", required=True
        ),
        "first": Key(shape=whole(0, 255), doc="the number of the first byte", default=0),
    },
    doc="Each byte carries its own number in the frame.",
)

FRAME = Record(
    "frame",
    FrameText,
    {
        "start": Key(
            shape=BYTES, doc="bytes that every frame begins with; they count as bytes of the frame", default=b""
        ),
        "end": Key(shape=_one(BYTES), doc="bytes that end a frame; a list where several can", default=()),
        "length": Key(shape=whole(1, 4096), doc="bytes in a frame, start and end included"),
        "numbered": Key(shape=NUMBERED, doc="each byte carries its own number"),
        "longest": Key(shape=whole(2, 65536), doc="bytes after which a frame without end is given up", default=512),
    },
    doc="How the stream of bytes is cut into frames.",
)

MEANS = MapOf(CODE, ByKind(scalar=FACTS, mapping=MapOf(CODE, FACTS, least=1)), least=1)

FIELD = Record(
    "field",
    _called(FieldText, as_="kind", is_="value"),
    {
        "byte": Key(shape=SPAN, doc="the byte where it stands"),
        "bytes": Key(shape=SPAN, doc="the bytes where it stands, such as 3..6"),
        "bits": Key(
            shape=_parsed("bits such as 7..4, or 2.2..0 3.3..0", _bits_anywhere),
            doc="bits of that number (7..4), or bits of several bytes (2.2..0 3.3..0)",
        ),
        "as": Key(
            shape=text("how the bytes are read, such as u16 big, decimal, text"),
            doc="how the bytes are read",
            default="",
        ),
        "is": Key(shape=_one(CODE), doc="the code or codes that must stand here", default=()),
        "means": Key(shape=MEANS, doc="what each code means; a code that is not listed rejects the frame", default={}),
        "under": Key(shape=FIELD_NAME, doc="the field whose code chooses the table in `means`", default=""),
        "special": Key(
            shape=MapOf(CODE, FACTS, least=1), doc="values that are no number, such as OL: overload", default={}
        ),
        "segments": Key(
            shape=text("letters a to g in the order of the bits, - for none", "[abcdefg-]{7,16}"),
            doc="seven-segment digits: which bit lights which segment",
            default="",
        ),
        "digits": Key(
            shape=ListOf(BITS, least=1, most=12), doc="bits of each seven-segment digit, left to right", default=()
        ),
        "points": Key(
            shape=ListOf(BITS, least=1, most=12), doc="bit of the point after each digit, left to right", default=()
        ),
        "minus": Key(shape=BITS, doc="bit of the minus sign"),
    },
    doc="A named part of the frame.",
)

READING = Record(
    "reading",
    ReadingText,
    {
        "value": Key(shape=text("a field's name"), doc="the field that holds the number", required=True),
        "channel": Key(shape=text("a name"), doc="which display or input it is", default="main"),
        "quantity": Key(shape=_parsed("a quantity, such as voltage", _quantity), doc="what is measured"),
        "unit": Key(shape=_parsed("a unit, such as kohm", _unit), doc="the unit of the digits"),
        "mode": Key(shape=choice(*MODES), doc="ac, dc or ac+dc"),
        "decimals": Key(shape=whole(-9, 15), doc="digits after the point of a number that has none itself"),
        "step": Key(shape=_parsed("what one count is worth, such as 0.1 degC", step), doc="what one count is worth"),
        "flags": Key(shape=_one(text("a flag in words")), doc="flags that always hold", default=()),
        "by": Key(shape=_one(FIELD_NAME), doc="fields whose meaning belongs to this reading alone", default=()),
    },
    doc="A value that the frame shows.",
)

EXAMPLE = Record(
    "example",
    ExampleText,
    {
        "frame": Key(shape=BYTES, doc="bytes as they came, from a manual or a recording", required=True),
        "shows": Key(shape=_one(text("what the display showed")), doc="what the display showed, such as 0.420 kohm"),
        "rejected": Key(shape=text("words of the reason"), doc="words of the reason why it is rejected"),
    },
    doc="Bytes and what the display showed; checked whenever the profile is loaded.",
)

PROFILE = Record(
    "profile",
    ProfileText,
    {
        "profile": Key(
            shape=text("a key such as bench-meter-a", r"[a-z0-9][a-z0-9-]{0,60}"),
            doc="the profile's key",
            required=True,
        ),
        "title": Key(shape=text(), doc="what it is for, in a line", required=True),
        "licence": Key(shape=text(), doc="licence of this file", default=""),
        "source": Key(shape=text(), doc="the manual page that it was written from", default=""),
        "note": Key(shape=text(), doc="anything else a user should know", default=""),
        "line": Key(shape=LINE, doc="how the serial line is set"),
        "first byte": Key(shape=whole(0, 1), doc="the number that the manual gives to the first byte", default=0),
        "frame": Key(shape=FRAME, doc="how the stream is cut into frames", required=True),
        "text": Key(
            shape=_parsed("a line with {fields} in it", _template),
            doc="the frame as a text with {fields}, without its end",
            default="",
        ),
        "fields": Key(shape=MapOf(FIELD_NAME, FIELD), doc="the named parts of the frame", default={}),
        "bits": Key(shape=MapOf(BITS, FACTS), doc="what each single bit means when it is 1", default={}),
        "readings": Key(shape=ListOf(READING, least=1), doc="the values that the frame shows", default=()),
        "examples": Key(shape=ListOf(EXAMPLE, least=1), doc="frames and what the display showed", default=()),
    },
    doc="How to talk to one family of instruments and what their bytes mean.",
)
