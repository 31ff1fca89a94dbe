"""The keys of the profile language: records that a YAML text is read into, as it stands.

What they mean is the compiler's matter; here stands only what may be written where: `wire` holds the keys of how
bytes travel, `content` those of what a frame says, and this module the whole profile.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.schema import ByKind, ListOf, MapOf, Scalar, Where, choice, number, text, whole
from meterlog.profile.language import words as w
from meterlog.profile.language.content import MESSAGE, Says
from meterlog.profile.language.wire import (
    ADDRESS,
    ASK,
    FRAME,
    LINE,
    REPORTS,
    TRANSFORM,
    Ask,
    Check,
    Cut,
    Line,
    Reports,
)
from meterlog.profile.language.words import NOWHERE, key, one_or_more, record

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.profile.language.facts import Facts


@dataclass(frozen=True, slots=True, kw_only=True)
class Modbus:
    """Registers of a Modbus RTU device."""

    address: int = key("the device's address; a bench may choose another", whole(1, 247), 1)
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
class Earlier:
    """A frame that came before an example's."""

    frame: bytes = key("bytes as they came", w.BYTES)
    request: bytes = key("the request that they answered", w.BYTES, b"")
    where: Where = NOWHERE


def _unasked(value: str) -> Earlier:
    return Earlier(frame=w.BYTES.parse(value), request=b"")


EARLIER = ByKind(
    scalar=Scalar(w.BYTES.expected, _unasked),
    mapping=record("earlier", Earlier, "A frame that came before an example's."),
)
AFTER = ByKind(scalar=Scalar(w.BYTES.expected, lambda value: (_unasked(value),)), sequence=ListOf(EARLIER, least=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """Bytes and what the display showed."""

    frame: bytes = key("bytes as they came, from a manual or a recording", w.BYTES)
    shows: tuple[str, ...] | None = key(
        "what the display showed, such as 0.420 kohm", one_or_more(text("what was shown")), None
    )
    rejected: str | None = key("words of the reason why it is rejected", w.WORDS, None)
    after: tuple[Earlier, ...] = key(
        "frames that came before it; those that answer requests as {frame, request}", AFTER, ()
    )
    request: bytes = key("the request that it answers", w.BYTES, b"")
    where: Where = NOWHERE


EXAMPLE = record("example", Example, "Bytes and what the display showed; checked whenever the profile is loaded.")


def _language(value: str) -> int:
    if value != "1":
        raise ValueError("a later meterlog may know it")
    return 1


LANGUAGE = w.parsed("1, the only version of the language so far", _language)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileText(Says):
    """A whole profile as its text says it."""

    profile: str = key("the profile's key", text("a key such as bench-meter-a", r"[a-z0-9][a-z0-9-]{0,60}"))
    language: int = key("the version of this language that the file is written in", LANGUAGE, 1)
    title: str = key("what it is for, in a line", text())
    licence: str = key("licence of this file", text(), "")
    source: str = key("the manual page that it was written from", text(), "")
    note: str = key("anything else that its user should know", text(), "")
    line: Line | None = key("how the serial line is set", LINE, None)
    ask: Ask | None = key("what is asked, where the instrument does not speak by itself", ASK, None)
    modbus: Modbus | None = key(
        "registers of a Modbus RTU device: makes `ask`, `frame` and `check` itself", MODBUS, None
    )
    address: str = key(
        "the address that stands in its texts in place of {address}; a bench may choose another", ADDRESS, ""
    )
    first_byte: int = key("the number that the manual gives to the first byte", whole(0, 1), 0)
    stream: tuple[str | Reports, ...] = key(
        "what is done to the bytes before they are cut into frames",
        ListOf(ByKind(scalar=TRANSFORM, mapping=REPORTS), least=1),
        (),
    )
    frame: Cut | None = key("how the stream is cut into frames", FRAME, None)
    messages: Mapping[str, Says] = key(
        "what each kind of frame says, where there are several", MapOf(w.MESSAGE_NAME, MESSAGE, least=1), {}
    )
    accuracy: tuple[Accurate, ...] = key("what the maker says of the error", ListOf(ACCURACY, least=1), ())
    examples: tuple[Example, ...] = key("frames and what the display showed", ListOf(EXAMPLE, least=1), ())

    @property
    def all_checks(self) -> tuple[Check, ...]:
        """The checks of all its messages."""
        return (*self.checks, *(check for says in self.messages.values() for check in says.checks))


PROFILE = record("profile", ProfileText, "How to talk to one family of instruments and what their bytes mean.")
