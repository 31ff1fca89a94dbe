"""The keys that say how an instrument's bytes travel: line, ask, stream, frame and check.

The sentence beside each key is what editors show and what the manual is held to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base.schema import ByKind, ListOf, MapOf, Scalar, Where, choice, quantity, text, whole, yes_no
from meterlog.conversation.notation import WAYS
from meterlog.profile.language import words as w
from meterlog.profile.language.facts import Facts
from meterlog.profile.language.words import NOWHERE, bare, key, one_or_more, record

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.profile.language.places import Span


BAUD = whole(50, 4_000_000)
ADDRESS = text("an address of 1 to 8 letters and digits, such as 01", r"[0-9A-Za-z]{1,8}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """How the serial line is set."""

    baud: int = key("bits a second", BAUD, 9600)
    data_bits: int = key("data bits of a character", whole(5, 8), 8)
    parity: str = key("parity bit", choice("none", "even", "odd", "mark", "space"), "none")
    stop_bits: str = key("stop bits", choice("1", "1.5", "2"), "1")
    dtr: bool = key("level of the DTR wire; many optical cables are powered from it", yes_no(), True)
    rts: bool = key("level of the RTS wire", yes_no(), True)
    wake: bytes = key("bytes written once when the line is opened", w.BYTES, b"")
    wake_baud: int | None = key("bits a second at which `wake` is written, where not `baud`", BAUD, None)
    wait: float = key(
        "time to wait after opening, before anything is asked", quantity("s", "0.5 s", "0 s", "60 s"), 0.0
    )
    wake_again: float | None = key(
        "silence after which `wake` is written again", quantity("s", "30 s", "0.1 s", "3600 s"), None
    )
    where: Where


LINE = record("line", Line, "How the serial line is set.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One thing that is asked."""

    send: bytes = key("the bytes to send", w.BYTES)
    with_check: bool = key("put the profile's check behind them, before their end mark", yes_no(), False)
    answer: tuple[str, ...] = key("the messages that may answer; any, where not said", one_or_more(w.MESSAGE_NAME), ())
    until: str = key(
        "the message that ends its answer, where that comes in several; nothing is asked before it", w.MESSAGE_NAME, ""
    )
    means: Facts = key("what an answer to it means, such as channel probe 2", w.FACTS, Facts())
    pause: float | None = key("time to wait after its answer", quantity("s", "50 ms", "0 s", "60 s"), None)
    echo: bytes = key("what comes back of it before its answer, where that is not what was sent", w.BYTES, b"")
    baud: int | None = key("bits a second at which it is sent, where not the line's", BAUD, None)
    answer_baud: int | None = key("bits a second of its answer, where it comes at another rate", BAUD, None)
    where: Where = NOWHERE


REQUEST_MAPPING = record("request", Request, "Something to ask, and what its answer means.")


def _plain_request(value: str) -> Request:
    return bare(Request, NOWHERE, send=w.BYTES.parse(value))


REQUEST = ByKind(scalar=Scalar(w.BYTES.expected, _plain_request), mapping=REQUEST_MAPPING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """What is asked of an instrument that does not speak by itself."""

    requests: tuple[Request, ...] = key("what is asked, in turn, again and again", ListOf(REQUEST, least=1), ())
    first: tuple[Request, ...] = key("what is asked once, before: identity, mode", ListOf(REQUEST, least=1), ())
    every: float = key("time from one round to the next", quantity("s", "0.5 s", "10 ms", "3600 s"), 0.5)
    wait: float = key("time after which a request counts as not answered", quantity("s", "1 s", "10 ms", "60 s"), 1.0)
    pause: float = key("time between an answer and the next request", quantity("s", "20 ms", "0 s", "60 s"), 0.0)
    echo: bool = key("what is sent comes back before the answer, as on two wires used in turn", yes_no(), False)
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
class Escaped:
    """How bytes are written that would be taken for marks."""

    by: bytes = key("the byte that stands before an escaped one", w.BYTES)
    xor: int | None = key("what the byte behind it is xored with", whole(1, 255), None)
    codes: Mapping[str, str] = key(
        "what each byte behind it stands for; no other comes", MapOf(w.CODE, w.CODE, least=1), {}
    )
    doubled: bool = key("the byte itself is sent twice, and nothing else is escaped", yes_no(), False)
    where: Where


ESCAPE = record("escape", Escaped, "How bytes are written that would be taken for marks.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """Bytes of a frame that are xored with a key of several bytes."""

    by: bytes = key("the bytes of the key, which begins anew behind its last", w.BYTES, name="key")
    over: Span | None = key("the bytes that are xored; where not said, all between start and end", w.SPAN, None)
    where: Where = NOWHERE


_KEYED = record("xor", Keyed, "Bytes of a frame that are xored with a key of several bytes.")
XOR = ByKind(scalar=Scalar(w.BYTES.expected, lambda value: Keyed(by=w.BYTES.parse(value), over=None)), mapping=_KEYED)


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
    after_end: int = key("bytes of a frame that stand behind its end mark, such as a check", whole(0, 16), 0)
    escape: Escaped | None = key("how bytes are written that would be taken for marks", ESCAPE, None)
    xor: Keyed | None = key("bytes of a key that those of the frame are xored with, in turn", XOR, None)
    in_hex: bool = key("two hex digits stand for each byte between start and end", yes_no(), False, name="hex digits")
    numbered: Numbered | None = key("each byte carries its own number", NUMBERED, None)
    start_bit: int | None = key("a bit that is set in the first byte of a frame only", whole(0, 7), None)
    end_bit: int | None = key("a bit that is set in the last byte of a frame only", whole(0, 7), None)
    silence: float | None = key("silence that ends a frame", quantity("s", "20 ms", "0.1 ms", "60 s"), None)
    longest: int = key("bytes after which a frame without end is given up", whole(2, 4096), 512)
    gap: float = key("silence within a frame after which it is given up", quantity("s", "0.5 s", "1 ms", "60 s"), 0.5)
    where: Where = NOWHERE


FRAME = record("frame", Cut, "How the stream of bytes is cut into frames.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Bytes that prove the others."""

    kind: str = key(
        "such as sum-8, negated sum-8, xor-8, fletcher-16, a catalogue name such as CRC-16/MODBUS, or crc",
        text("a kind of check"),
    )
    at: Span = key("the bytes that hold it", w.SPAN)
    over: Span | None = key("the bytes that it proves; where not said, all before it", w.SPAN, None)
    of: str = key("what is proved: the bytes, or what each pair of hex digits says", choice("bytes", "hex"), "bytes")
    order: str = key("which of its bytes comes first", choice("big", "little"), "big")
    kind_of_text: str = key(
        "how it is written: bytes, or text in hex, decimal, nibbles (0 to ?), six bits (@ to DEL) or bcd",
        choice("bytes", *WAYS),
        "bytes",
        name="as",
    )
    init: int | None = key("what it starts from", whole(0), None)
    plus: int = key("what is added to it at the end", whole(0, 0xFFFFFFFF), 0)
    mask: int | None = key("the bits of it that are kept", whole(1), None)
    modulo: int | None = key("sums: what the sum is divided by, so that the rest is the check", whole(2, 2**32), None)
    width: int | None = key("crc: its bits", whole(3, 64), None)
    poly: int | None = key("crc: its polynomial", whole(1), None)
    reflect_in: bool = key("crc: the smallest bit of each byte goes first", yes_no(), False)
    reflect_out: bool = key("crc: its bits are reversed at the end", yes_no(), False)
    xor_out: int = key("crc: what it is xored with at the end", whole(0), 0)
    where: Where = NOWHERE


CHECK = record("check", Check, "Bytes of the frame that prove the others.")
