"""The keys of the profile language: records that a YAML text is read into, as it stands.

What they mean is the compiler's matter; here stands only what may be written where. The sentence
beside each key is what editors show and what the manual is held to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile import words as w
from meterlog.profile.facts import MODES, Facts
from meterlog.profile.words import key, one_or_more, record
from meterlog.schema import ByKind, ListOf, MapOf, Scalar, Where, choice, number, quantity, text, whole, yes_no

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.profile.places import Bits, Span

NOWHERE = Where(place=None, path="")  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """How the serial line is set."""

    baud: int = key("bits a second", whole(50, 4_000_000), 9600)
    data_bits: int = key("data bits of a character", whole(5, 8), 8)
    parity: str = key("parity bit", choice("none", "even", "odd", "mark", "space"), "none")
    stop_bits: str = key("stop bits", choice("1", "1.5", "2"), "1")
    dtr: bool = key("level of the DTR wire; many optical cables are powered from it", yes_no(), True)
    rts: bool = key("level of the RTS wire", yes_no(), True)
    wake: bytes = key("bytes written once when the line is opened", w.BYTES, b"")
    wait: float = key("time to wait after opening, before anything is asked", quantity("s", "0.5 s"), 0.0)
    where: Where


LINE = record("line", Line, "How the serial line is set.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One thing that is asked."""

    send: bytes = key("the bytes to send", w.BYTES)
    with_check: bool = key("append the profile's check to them", yes_no(), False)
    answer: tuple[str, ...] = key("the messages that may answer; any, where not said", one_or_more(w.FIELD_NAME), ())
    means: Facts = key("what an answer to it means, such as channel probe 2", w.FACTS, Facts())
    pause: float | None = key("time to wait after its answer", quantity("s", "50 ms"), None)
    where: Where = NOWHERE


REQUEST_MAPPING = record("request", Request, "Something to ask, and what its answer means.")


def _plain_request(value: str) -> Request:
    return Request(send=w.BYTES.parse(value), with_check=False, answer=(), means=Facts(), pause=None)


REQUEST = ByKind(scalar=Scalar(w.BYTES.expected, _plain_request), mapping=REQUEST_MAPPING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """What is asked of an instrument that does not speak by itself."""

    requests: tuple[Request, ...] = key("what is asked, in turn, again and again", ListOf(REQUEST, least=1), ())
    first: tuple[Request, ...] = key("what is asked once, before: identity, mode", ListOf(REQUEST, least=1), ())
    every: float = key("time from one round to the next", quantity("s", "0.5 s"), 0.5)
    wait: float = key("time after which a request counts as not answered", quantity("s", "1 s"), 1.0)
    pause: float = key("time between an answer and the next request", quantity("s", "20 ms"), 0.0)
    where: Where = NOWHERE


ASK = record("ask", Ask, "What is asked of an instrument that does not speak by itself.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reports:
    """A stream wrapped in reports of a fixed size."""

    reports: int = key("bytes of each report", whole(2, 1024))
    count: tuple[int, int] = key("bits of its first byte that say how many bytes follow", w.BITS_OF_A_BYTE, (7, 0))
    where: Where


REPORTS = record(
    "stream", Reports, "The stream comes in reports of a fixed size whose first byte tells how many count."
)
TRANSFORM = text(
    "xor 0x5B, swap halves, reverse bits or mask 0x7F",
    r"(xor|mask) (0x[0-9A-Fa-f]{1,2}|\d{1,3})|swap halves|reverse bits",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbered:
    """Each byte of a frame carries its own number."""

    bits: tuple[int, int] = key("where each byte says its number", w.BITS_OF_A_BYTE)
    first: int = key("the number of the first byte", whole(0, 255), 0)
    where: Where


NUMBERED = record("numbered", Numbered, "Each byte carries its own number in the frame.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """A length that the frame itself tells."""

    byte: Span | None = key("the byte that tells it", w.SPAN, None)
    bytes: Span | None = key("the bytes that tell it", w.SPAN, None)
    kind: str = key("how they are read, such as u16 big", text("such as u16 big"), "", name="as")
    times: int = key("what the number is multiplied by", whole(1, 64), 1)
    plus: int = key("what is added, to make the bytes of the whole frame", whole(-64, 4096), 0)
    codes: Mapping[str, Length | int] = key(
        "the length for each code of a type byte",
        MapOf(w.CODE, ByKind(scalar=whole(1, 4096), mapping=None), least=1),
        {},
    )
    where: Where


_LENGTH_PLAIN = record("length", Length, "A length that the frame itself tells.")
_BY_CODE = MapOf(w.CODE, ByKind(scalar=whole(1, 4096), mapping=_LENGTH_PLAIN), least=1)
LENGTH = replace(
    _LENGTH_PLAIN, keys={**_LENGTH_PLAIN.keys, "codes": replace(_LENGTH_PLAIN.keys["codes"], shape=_BY_CODE)}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How the stream of bytes is cut into frames."""

    start: tuple[bytes, ...] = key(
        "bytes that a frame begins with, counted as its first; a list where several can", one_or_more(w.BYTES), ()
    )
    end: tuple[bytes, ...] = key("bytes that end a frame; a list where several can", one_or_more(w.BYTES), ())
    length: int | Length | None = key(
        "bytes in a frame, start and end included; or which byte tells it",
        ByKind(scalar=whole(1, 4096), mapping=LENGTH),
        None,
    )
    numbered: Numbered | None = key("each byte carries its own number", NUMBERED, None)
    start_bit: int | None = key("a bit that is set in the first byte of a frame only", whole(0, 7), None)
    end_bit: int | None = key("a bit that is set in the last byte of a frame only", whole(0, 7), None)
    silence: float | None = key("silence that ends a frame", quantity("s", "20 ms"), None)
    longest: int = key("bytes after which a frame without end is given up", whole(2, 4096), 512)
    gap: float = key("silence within a frame after which it is given up", quantity("s", "0.5 s"), 0.5)
    where: Where = NOWHERE


FRAME = record("frame", Cut, "How the stream of bytes is cut into frames.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Bytes that prove the others."""

    kind: str = key(
        "sum-8, negated sum-8, inverted sum-8, sum-16, xor-8, a catalogue name such as CRC-16/MODBUS, or crc",
        text("a kind of check"),
    )
    at: Span = key("the bytes that hold it", w.SPAN)
    over: Span | None = key("the bytes that it proves; where not said, all before it", w.SPAN, None)
    of: str = key("what is proved: the bytes, or what each pair of hex digits says", choice("bytes", "hex"), "bytes")
    order: str = key("which of its bytes comes first", choice("big", "little"), "big")
    kind_of_text: str = key("bytes, or hex digits as text", choice("bytes", "hex"), "bytes", name="as")
    init: int | None = key("what it starts from", whole(0), None)
    plus: int = key("what is added to it at the end", whole(0, 0xFFFFFFFF), 0)
    mask: int | None = key("the bits of it that are kept", whole(1), None)
    width: int | None = key("crc: its bits", whole(3, 64), None)
    poly: int | None = key("crc: its polynomial", whole(1), None)
    reflect_in: bool = key("crc: the smallest bit of each byte goes first", yes_no(), False)
    reflect_out: bool = key("crc: its bits are reversed at the end", yes_no(), False)
    xor_out: int = key("crc: what it is xored with at the end", whole(0), 0)
    where: Where = NOWHERE


CHECK = record("check", Check, "Bytes of the frame that prove the others.")

MEANS = MapOf(w.CODE, ByKind(scalar=w.FACTS, mapping=MapOf(w.CODE, w.FACTS, least=1)), least=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A named part of a frame: where it is, how it is read, what its codes mean."""

    byte: Span | None = key("the byte where it stands", w.SPAN, None)
    bytes: Span | None = key("the bytes where it stands, such as 3..6", w.SPAN, None)
    bits: tuple[Bits, ...] | tuple[int, int] | None = key(
        "bits of that number (7..4), or bits of several bytes (2.2..0 3.3..0)", w.BITS_ANYWHERE, None
    )
    part: str = key("of a split frame: which part, counted from 1, or its name in the header", text("a part"), "")
    item: int | None = key("of a repeated group: which part of the group, counted from 1", whole(1, 100), None)
    kind: str = key(
        "how it is read: u16 big, i32 CDAB, f32 big, bcd, decimal, digits, hex, text, …", text("a kind"), "", name="as"
    )
    value: tuple[str, ...] = key("the code or codes that must stand here", one_or_more(w.CODE), (), name="is")
    means: Mapping[str, Facts | Mapping[str, Facts]] = key(
        "what each code means; any other rejects the frame", MEANS, {}
    )
    under: str = key(
        "the field whose code chooses the table in `means`; words there, in place of a table, hold for any code",
        w.FIELD_NAME,
        "",
    )
    special: Mapping[str, Facts] = key(
        "values that are no number, such as OL: overload", MapOf(w.CODE, w.FACTS, least=1), {}
    )
    segments: str = key(
        "seven-segment digits: the segment that each bit lights, a to g, highest bit first",
        text("letters a to g, - for none", "[abcdefg-]{7,16}"),
        "",
    )
    digits: tuple[tuple[Bits, ...], ...] = key(
        "bits of each seven-segment digit, left to right", ListOf(w.BITS, least=1, most=12), ()
    )
    points: tuple[tuple[Bits, ...], ...] = key(
        "bit of the point after each digit, left to right", ListOf(w.BITS, least=1, most=12), ()
    )
    minus: tuple[Bits, ...] | None = key("bit of the minus sign", w.BITS, None)
    where: Where = NOWHERE


FIELD = record("field", Field, "A named part of the frame.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shows:
    """A value that a frame shows. It may say its place itself, as a field does."""

    value: str = key(
        "the field that holds the number, or arithmetic over fields such as hi * 256 + lo", text("a field or a sum"), ""
    )
    byte: Span | None = key("the byte where the number stands", w.SPAN, None)
    bytes: Span | None = key("the bytes where the number stands", w.SPAN, None)
    part: str = key("of a split frame: the part that holds the number", text("a part"), "")
    item: int | None = key("of a repeated group: the part that holds the number", whole(1, 100), None)
    register: int | None = key("modbus: the register where the number begins", whole(0, 65535), None)
    function: int | None = key("modbus: the function that reads it, where it is another", whole(3, 4), None)
    kind: str = key("how the number is read, as in a field", text("a kind"), "", name="as")
    special: Mapping[str, Facts] = key("values that are no number", MapOf(w.CODE, w.FACTS, least=1), {})
    channel: str = key("which display or input it is; {name} takes it from a field", text("a name"), "")
    quantity: str | None = key("what is measured", w.QUANTITY, None)
    unit: str | None = key("the unit of the digits", w.UNIT, None)
    mode: str | None = key("ac, dc or ac+dc", choice(*MODES), None)
    decimals: str = key(
        "digits after the point, where the number has none itself; arithmetic over fields may stand here",
        text("a number"),
        "",
    )
    step: Facts | None = key("what one count is worth", w.STEP, None)
    flags: tuple[str, ...] = key("flags that always hold", one_or_more(text("a flag in words")), ())
    by: tuple[str, ...] = key("fields whose meaning belongs to this reading alone", one_or_more(w.FIELD_NAME), ())
    where: Where = NOWHERE


READING = record("reading", Shows, "A value that the frame shows.")


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """What a message is known by."""

    starts: bytes = key("bytes that it begins with", w.BYTES, b"")
    length: int | None = key("bytes of the whole frame", whole(1, 4096), None)
    byte: Span | None = key("a byte that tells it", w.SPAN, None)
    bytes: Span | None = key("bytes that tell it", w.SPAN, None)
    bits: tuple[Bits, ...] | tuple[int, int] | None = key("bits that tell it", w.BITS_ANYWHERE, None)
    kind: str = key("how they are read", text("a kind"), "", name="as")
    value: tuple[str, ...] = key("the code or codes that stand there", one_or_more(w.CODE), (), name="is")
    where: Where = NOWHERE


WHEN = record("when", When, "What a message is known by.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """A text in parts between separators."""

    by: bytes = key("what stands between the parts", w.BYTES)
    over: Span | None = key("the bytes that are split; where not said, all but start and end", w.SPAN, None)
    parts: int | None = key("how many parts a frame has; not needed where a header names them", whole(1, 200), None)
    where: Where


SPLIT = record("split", Split, "The frame is a text in parts between separators.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """Parts that come in groups, each group with the same readings."""

    from_part: int = key("the first part of the first group", whole(1, 100))
    every: int = key("parts of a group", whole(1, 100))
    where: Where


REPEAT = record("repeat", Repeat, "Parts come in groups, each group with the same readings.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Says:
    """What one kind of frame says."""

    when: When | None = key("what it is known by; messages are tried in the order written", WHEN, None)
    text: str = key("the frame as a text with {fields}, without its end", w.TEMPLATE, "")
    pattern: str = key("the frame as a regular expression (RE2) with named groups, without its end", w.EXPRESSION, "")
    split: Split | None = key("the frame as parts between separators", SPLIT, None)
    repeat: Repeat | None = key("parts that come in groups", REPEAT, None)
    fields: Mapping[str, Field] = key("the named parts of the frame", MapOf(w.FIELD_NAME, FIELD), {})
    bits: Mapping[tuple[Bits, ...], Facts] = key("what each single bit means when it is 1", MapOf(w.BITS, w.FACTS), {})
    readings: tuple[Shows, ...] = key("the values that the frame shows", ListOf(READING, least=1), ())
    keep: tuple[str, ...] = key(
        "fields that later messages may use, until one that may have told them anew is damaged or missing",
        one_or_more(w.FIELD_NAME),
        (),
    )
    reject: str = key("words: this frame says that there is no measurement", w.WORDS, "")
    where: Where = NOWHERE


MESSAGE = record("message", Says, "What one kind of frame says.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Modbus:
    """Registers of a Modbus RTU device."""

    address: int = key("the device's address", whole(1, 247), 1)
    function: int = key("3 reads holding registers, 4 reads input registers", whole(3, 4), 4)
    ask: str = key(
        "registers that touch are asked for together, or each reading on its own",
        choice("together", "each"),
        "together",
    )
    where: Where


MODBUS = record("modbus", Modbus, "The instrument answers Modbus RTU; the readings say their registers.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Accurate:
    """What the maker says of the error."""

    of: Facts = key("the readings that it is said of, such as dc voltage or 6.000 V", w.FACTS)
    within: str = key("the error as printed, such as 0.5 % + 3 counts", text("such as 0.5 % + 3 counts"))
    ranges: tuple[str, ...] = key(
        "only in these ranges, as `means` names them (6.000 V)", one_or_more(text("a range")), ()
    )
    temperature: str = key(
        "ambient span where it holds, such as 18 degC to 28 degC", text("such as 18 degC to 28 degC"), ""
    )
    per_kelvin: float = key("part of itself added for each kelvin outside that span", number(), 0.0)
    coverage: str = key(
        "rectangular, or the k of an expanded uncertainty", text("rectangular or a number"), "rectangular"
    )
    source: str = key("manual and page", w.WORDS, "")
    where: Where


ACCURACY = record("accuracy", Accurate, "What the maker says of the error.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """Bytes and what the display showed."""

    frame: bytes = key("bytes as they came, from a manual or a recording", w.BYTES)
    shows: tuple[str, ...] | None = key(
        "what the display showed, such as 0.420 kohm", one_or_more(text("what was shown")), None
    )
    rejected: str | None = key("words of the reason why it is rejected", w.WORDS, None)
    after: tuple[bytes, ...] = key("frames that came before it", one_or_more(w.BYTES), ())
    request: bytes = key("the request that it answers", w.BYTES, b"")
    where: Where = NOWHERE


EXAMPLE = record("example", Example, "Bytes and what the display showed; checked whenever the profile is loaded.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said(Says):
    """A whole profile as its text says it."""

    profile: str = key("the profile's key", text("a key such as bench-meter-a", r"[a-z0-9][a-z0-9-]{0,60}"))
    title: str = key("what it is for, in a line", text())
    licence: str = key("licence of this file", text(), "")
    source: str = key("the manual page that it was written from", text(), "")
    note: str = key("anything else that its user should know", text(), "")
    line: Line | None = key("how the serial line is set", LINE, None)
    ask: Ask | None = key("what is asked, where the instrument does not speak by itself", ASK, None)
    modbus: Modbus | None = key(
        "registers of a Modbus RTU device: makes `ask`, `frame` and `check` itself", MODBUS, None
    )
    first_byte: int = key("the number that the manual gives to the first byte", whole(0, 1), 0)
    stream: tuple[str | Reports, ...] = key(
        "what is done to the bytes before they are cut into frames",
        ListOf(ByKind(scalar=TRANSFORM, mapping=REPORTS), least=1),
        (),
    )
    frame: Cut | None = key("how the stream is cut into frames", FRAME, None)
    check: Check | tuple[Check, ...] = key(
        "what proves a frame; a list where there are several",
        ByKind(mapping=CHECK, sequence=ListOf(CHECK, least=1)),
        (),
    )
    messages: Mapping[str, Says] = key(
        "what each kind of frame says, where there are several", MapOf(w.FIELD_NAME, MESSAGE, least=1), {}
    )
    accuracy: tuple[Accurate, ...] = key("what the maker says of the error", ListOf(ACCURACY, least=1), ())
    examples: tuple[Example, ...] = key("frames and what the display showed", ListOf(EXAMPLE, least=1), ())

    @property
    def checks(self) -> tuple[Check, ...]:
        """The checks, a single one too as a list."""
        return self.check if isinstance(self.check, tuple) else (self.check,)


PROFILE = record("profile", Said, "How to talk to one family of instruments and what their bytes mean.")
