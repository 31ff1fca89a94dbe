"""What a profile says of its frames, to the framer that cuts them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.conversation.framing import (
    BegunByBit,
    Delimited,
    FixedLength,
    Framer,
    MarkedByBit,
    SelfTelling,
    Silence,
)
from meterlog.conversation.stuffing import HEAD, Stuffed
from meterlog.profile.compile.layout import ByteNumbering
from meterlog.profile.language.kinds import parse_kind
from meterlog.profile.language.places import Bits, characters, parse_code

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.base.source import Problems
    from meterlog.conversation.stuffing import Undo
    from meterlog.profile.compile.proving import FrameProof
    from meterlog.profile.language.content import Field, Says
    from meterlog.profile.language.wire import Cut, Length


def sharpened(cut: Cut, base: int, says: Says | None) -> tuple[frozenset[int] | None, ...]:
    """What each byte of a frame of fixed length may be: by its marks, its numbers, the fields that are a code."""
    found = classes(cut)
    if cut.start or cut.end or cut.numbered:
        return tuple(found)  # what a field must be is the decoder's matter then: it names the field
    for said in says.fields.values() if says else ():
        place, low, mask = _one_byte(said)
        index = place - base if place >= 0 else place + len(found) - tail_of(cut)
        codes = _codes(said)
        if not codes or mask == 0 or not 0 <= index < len(found):
            continue
        allowed = frozenset(value for value in found[index] or range(256) if value >> low & mask in codes)
        found[index] = allowed or found[index]
    return tuple(found)


def _one_byte(said: Field) -> tuple[int, int, int]:
    """(byte, lowest bit, mask) of a field within one byte; mask 0 where it is not."""
    bits = said.bits or ()
    if said.kind in ("", "u8") and said.byte and said.byte.first == said.byte.last:
        match bits:
            case ():
                return said.byte.first, 0, 255
            case (int(high), int(low)):
                return said.byte.first, low, (1 << high - low + 1) - 1
    match bits:
        case (Bits() as bit,):
            return bit.byte, min(bit.high, bit.low), (1 << bit.width) - 1
    return 0, 0, 0


def _codes(said: Field) -> set[int]:
    """The codes that a field must be, as numbers; empty where they are not."""
    try:
        return {parse_code(code) for code in said.value}
    except ValueError:
        return set()


def tail_of(cut: Cut) -> int:
    """Bytes of the end mark, the longest where there are several; 0 where others stand behind it."""
    return 0 if cut.after_end else max(map(len, cut.end), default=0)


def layout_of(cut: Cut, base: int, says: Says | None = None) -> ByteNumbering:
    """How places in these frames are counted; `says`: the message, where there is but one."""
    length = cut.length if isinstance(cut.length, int) else None
    allowed = sharpened(cut, base, says) if length and not (cut.escape or cut.xor or cut.in_hex) else ()
    return ByteNumbering(
        base=base,
        tail=tail_of(cut),
        length=length,
        behind=cut.after_end,
        allowed=allowed,
        uneven=len(set(map(len, cut.end))) > 1,
    )


def framer_of(
    cut: Cut, layout: ByteNumbering, undo: Undo | None, proof: FrameProof, problems: Problems
) -> Framer | None:
    """The framer; None when the keys do not say how a frame ends, which is told."""
    length: int | Callable[[bytes, int], int | None] | None = layout.length
    if cut.length is not None and not isinstance(cut.length, int):
        length = _length(cut.length, layout, cut.longest, problems)
        if length is None:
            return None
    if cut.start_bit is not None or cut.end_bit is not None:
        if cut.end_bit is None and length is None:
            cut.where.tell(problems, "start bit", expected="`length` or `end bit` beside it", saw="no end of the frame")
            return None
        if callable(length):
            assert cut.start_bit is not None
            return BegunByBit(cut.start_bit, length)
        return MarkedByBit(cut.start_bit, cut.end_bit, layout.length, cut.longest)
    if (undo and undo.escape) or (cut.start == cut.end and cut.start):
        return _stuffed(cut, undo, length, problems)
    if isinstance(length, int):
        return _fixed(cut, layout, problems)
    if length is not None:
        return SelfTelling(cut.start, length if not undo else _undone_head(length, undo, cut), cut.end, cut.after_end)
    if cut.end:
        return Delimited(
            cut.start, cut.end, cut.longest, cut.after_end, is_proved=proof.is_whole, beginnings=proof.beginnings
        )
    if cut.silence is not None:
        return Silence(cut.start, cut.longest)
    cut.where.tell(problems, expected="how a frame ends: length, end, end bit or silence", saw="none of them")
    return None


def _stuffed(
    cut: Cut, undo: Undo | None, length: int | Callable[[bytes, int], int | None] | None, problems: Problems
) -> Framer | None:
    """Frames between marks that never stand within one."""
    if not cut.end and length is None:
        if cut.silence is not None:
            return Silence(cut.start, cut.longest)
        cut.where.tell(problems, "escape", expected="`end`, `length` or `silence` beside it", saw="no end of the frame")
        return None
    if not _is_long_enough(cut, problems):
        return None
    return Stuffed(
        cut.start,
        cut.end,
        undo.escape if undo else None,
        behind=cut.after_end,
        length=length if not (undo and undo.key and callable(length)) else _undone_head(length, undo, cut),
        longest=cut.longest,
    )


def _undone_head(
    length: Callable[[bytes, int], int | None], undo: Undo, cut: Cut
) -> Callable[[bytes, int], int | None]:
    """The length that a frame tells in bytes that are xored."""
    plain = max(map(len, cut.start), default=0)
    begin = undo.over[0] if undo.over else plain

    def told(data: bytes, start: int) -> int | None:
        head = data[start : start + HEAD]
        return length(head[:begin] + undo.xored(head[begin:]), 0)

    return told


def _fixed(cut: Cut, layout: ByteNumbering, problems: Problems) -> Framer | None:
    if not _is_long_enough(cut, problems):
        return None
    if any(len(set(map(len, marks))) > 1 for marks in (cut.start, cut.end)):
        cut.where.tell(problems, "length", expected="marks that are equally long", saw="marks of several lengths")
        return None
    return FixedLength(layout.allowed or classes(cut))


def _is_long_enough(cut: Cut, problems: Problems) -> bool:
    """Whether a length that the profile fixes leaves room for the marks."""
    least = sum(len(mark[0]) for mark in (cut.start, cut.end) if mark) + cut.after_end
    if not isinstance(cut.length, int) or least <= cut.length:
        return True
    cut.where.tell(problems, "length", expected="more bytes than start and end have", saw=str(cut.length))
    return not len(problems)


def classes(cut: Cut) -> list[frozenset[int] | None]:
    """What each byte of a frame of fixed length may be, where its marks and numbers say."""
    assert isinstance(cut.length, int)
    found: list[frozenset[int] | None] = [None] * cut.length
    if cut.numbered:
        high, low = cut.numbered.bits
        mask = (1 << high - low + 1) - 1
        for place in range(cut.length):
            number = cut.numbered.first + place & mask
            found[place] = frozenset(v for v in range(256) if v >> low & mask == number)
    for marks, at in ((cut.start, 0), (cut.end, -1)):
        for place in range(len(marks[0]) if marks else 0):
            index = place if at == 0 else cut.length - cut.after_end - len(marks[0]) + place
            if 0 <= index < cut.length:
                found[index] = frozenset(mark[place] for mark in marks if place < len(mark))
    return found


def _length(
    said: Length, layout: ByteNumbering, longest: int, problems: Problems
) -> Callable[[bytes, int], int | None] | None:
    """A function of the bytes and a frame's beginning: its length, 0 for none, None for too few bytes."""
    span = said.byte or said.bytes
    if span is None:
        said.where.tell(problems, expected="the key 'byte' or 'bytes': where the length stands", saw="no such key")
        return None
    first, end = layout.index(span.first), layout.index(span.last) + 1
    if span.first < layout.base or end <= first:
        said.where.tell(problems, expected="bytes counted from the front", saw=str(span))
        return None
    if said.codes:
        return _by_code(said, layout, first, longest, problems)
    try:
        kind = parse_kind(said.kind, end - first)
    except ValueError as error:
        said.where.tell(
            problems, "as", expected="how it is read, such as u16 big", saw=said.kind or "nothing", hint=str(error)
        )
        return None
    least = max(end, 1)

    def length(data: bytes, start: int) -> int | None:
        told = data[start + first : start + end]
        if len(told) < end - first:
            return None
        if kind.name == "hex" or kind.name == "digits":
            number = int(told, 16 if kind.name == "hex" else 10) if told.isalnum() and _figures(told, kind.name) else -1
        else:
            number = int.from_bytes(told, "little" if kind.order == "little" else "big")
        whole = number * said.times + said.plus
        return whole if number >= 0 and least <= whole <= longest else 0

    return length


def _figures(text: bytes, kind: str) -> bool:
    return all(chr(c) in ("0123456789abcdefABCDEF" if kind == "hex" else "0123456789") for c in text)


def _by_code(
    said: Length, layout: ByteNumbering, first: int, longest: int, problems: Problems
) -> Callable[[bytes, int], int | None] | None:
    """The length from a type byte."""
    rows: dict[int, int | Callable[[bytes, int], int | None]] = {}
    for code, row in said.codes.items():
        try:
            number = parse_code(code) if len(code) > 1 or code.isdigit() else ord(characters(code))
        except ValueError as error:
            said.where.tell(problems, "codes", expected="codes of one byte", saw=code, hint=str(error))
            return None
        told = row if isinstance(row, int) else _length(row, layout, longest, problems)
        if told is None:
            return None
        rows[number] = told

    def length(data: bytes, start: int) -> int | None:
        if start + first >= len(data):
            return None
        row = rows.get(data[start + first], 0)
        return row if isinstance(row, int) else row(data, start)

    return length
