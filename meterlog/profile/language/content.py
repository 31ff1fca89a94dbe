"""The keys that say what one kind of frame holds: its parts, what their codes mean, and its readings.

The sentence beside each key is what editors show and what the manual is held to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.schema import ByKind, ListOf, MapOf, Where, choice, text, whole
from meterlog.profile.language import words as w
from meterlog.profile.language.facts import MODES, Facts
from meterlog.profile.language.wire import CHECK, Check
from meterlog.profile.language.words import NOWHERE, key, one_or_more, record

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.profile.language.places import Bits, Span

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
    register: int | None = key("modbus: the register where it begins", whole(0, 65535), None)
    function: int | None = key("modbus: the function that reads it, where it is another", whole(3, 4), None)
    kind: str = key(
        "how it is read: u16 big, i32 CDAB, f32 big, bcd, decimal, digits, hex, text, …", text("a kind"), "", name="as"
    )
    value: tuple[str, ...] = key("the code or codes that must stand here", one_or_more(w.CODE), (), name="is")
    means: Mapping[str, Facts | Mapping[str, Facts]] = key(
        "what each code means; any other rejects the frame", MEANS, {}
    )
    under: str = key(
        "the field whose code chooses the table in `means` or `special`; words in `means`, in place of a table, "
        "hold for any code",
        w.FIELD_NAME,
        "",
    )
    special: Mapping[str, Facts | Mapping[str, Facts]] = key(
        "values that are no number, such as OL: overload; beside `under` a table of them for each code", MEANS, {}
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

    @property
    def special_words(self) -> tuple[str, ...]:
        """Every special value as it is written, whatever code it stands under."""
        tables = [[word] if isinstance(said, Facts) else said for word, said in self.special.items()]
        return tuple(dict.fromkeys(word for table in tables for word in table))


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
    address: int | None = key("modbus: the address of the device, where it is another", whole(1, 247), None)
    kind: str = key("how the number is read, as in a field", text("a kind"), "", name="as")
    special: Mapping[str, Facts] = key("values that are no number", MapOf(w.CODE, w.FACTS, least=1), {})
    channel: str = key(
        "which display or input it is, each reading of a frame its own; {name} takes it from a field",
        text("a name"),
        "",
    )
    quantity: str | None = key("what is measured", w.QUANTITY, None)
    unit: str | None = key("the unit of the digits", w.UNIT, None)
    mode: str | None = key("ac, dc or ac+dc", choice(*MODES), None)
    decimals: str = key(
        "digits after the point, where the number has none itself; arithmetic over fields may stand here",
        text("a number"),
        "",
    )
    highest: int | None = key(
        "the most counts that the display can show; a number beyond it rejects the frame", whole(1, 2**53 - 1), None
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
    over: Span | None = key(
        "the bytes that are split; where not said, all but start and end; must be said where `length` is a number",
        w.SPAN,
        None,
    )
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
    text: str = key(
        "the frame as a text with {fields}, without its end; with it if `length` is a number", w.TEMPLATE, ""
    )
    pattern: str = key(
        "the frame as a regular expression (RE2) with named groups, without its end; with it if `length` is a number",
        w.EXPRESSION,
        "",
    )
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
    keep_once: tuple[str, ...] = key(
        "fields that the next message with readings may use, and none behind it", one_or_more(w.FIELD_NAME), ()
    )
    check: Check | tuple[Check, ...] = key(
        "what proves a frame, in place of what the profile says of all; a list where there are several",
        ByKind(mapping=CHECK, sequence=ListOf(CHECK, least=1)),
        (),
    )
    reject: str = key("words: this frame says that there is no measurement", w.WORDS, "")
    where: Where = NOWHERE

    @property
    def kept(self) -> tuple[str, ...]:
        """The fields that later messages may use."""
        return (*self.keep, *self.keep_once)

    @property
    def checks(self) -> tuple[Check, ...]:
        """The checks, a single one too as a list."""
        return self.check if isinstance(self.check, tuple) else (self.check,)


MESSAGE = record("message", Says, "What one kind of frame says.")
