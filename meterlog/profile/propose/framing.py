"""How a stream is cut into frames, learned from where it pauses and held to every burst.

A rule is proposed only where it gives, from the bytes alone, the very cuts that the pauses show. Which rule is tried
first is fixed: what needs the least luck comes first.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from meterlog.profile.propose.stream import Burst

FEWEST = 10
"""Frames below which no rule is proposed."""

NUMBERED = "numbered bytes"

_SHARE = 0.98
"""Part of the bursts that a rule must explain: the first and the last may be cut, and one damaged."""

_PRINTED = frozenset(range(0x20, 0x7F)) | {0x09, 0xB0, 0xB5, 0xC2, 0xCE, 0xA9}


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFrame:
    """One frame: as it came, as it is meant (escapes undone), and when its last byte came, s."""

    at: float
    raw: bytes
    data: bytes
    asked: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """A rule with its frames.

    Attributes:
        kind: its name, for people.
        keys: what a profile says under `frame:` (and `stream:`, where there is a "stream" key).
        start, end: bytes at the ends of `CutFrame.data` that are marks and no data.
        is_text: whether frames are printed characters.
        explained: bursts that it explains, of `bursts`.
    """

    kind: str
    keys: Mapping[str, Any]
    frames: tuple[CutFrame, ...]
    start: int = 0
    end: int = 0
    is_text: bool = False
    explained: int = 0
    bursts: int = 0
    stream: tuple[str | Mapping[str, Any], ...] = field(default=())


def find_framing(bursts: Sequence[Burst]) -> Framing | None:
    """The first rule that explains the bursts; None where there are too few, or none does."""
    if len(bursts) < FEWEST:
        return None
    for rule in (_numbered, _reports, _text, _escaped, _fixed, _told_length, _marked_bit, _silence):
        found = rule(bursts)
        if found is not None:
            return found
    return None


def _most(bursts: Sequence[Burst], holds: Callable[[bytes], bool]) -> bool:
    return sum(holds(burst.data) for burst in bursts) >= _SHARE * len(bursts) - 1


def _length(bursts: Sequence[Burst]) -> int | None:
    """The length that nearly all bursts have."""
    length, count = Counter(len(burst.data) for burst in bursts).most_common(1)[0]
    return length if count >= _SHARE * len(bursts) - 1 else None


def _whole(bursts: Sequence[Burst], holds: Callable[[bytes], bool]) -> tuple[CutFrame, ...]:
    return tuple(
        CutFrame(at=burst.at, raw=burst.data, data=burst.data, asked=burst.asked)
        for burst in bursts
        if holds(burst.data)
    )


def _made(
    kind: str, keys: Mapping[str, Any], frames: tuple[CutFrame, ...], bursts: Sequence[Burst], **more: Any
) -> Framing:
    return Framing(kind=kind, keys=keys, frames=frames, explained=len(frames), bursts=len(bursts), **more)


def hex_of(data: bytes) -> str:
    """Bytes as a profile writes them.

    >>> hex_of(bytes([0xAA, 5]))
    'hex AA 05'
    """
    return "hex " + data.hex(" ").upper()


# ---- each byte says its number ----


def _numbered(bursts: Sequence[Burst]) -> Framing | None:
    length = _length(bursts)
    if length is None or not 4 <= length <= 15:
        return None
    for first in (0, 1):

        def holds(data: bytes, first: int = first) -> bool:
            return len(data) == length and all(byte >> 4 == place + first for place, byte in enumerate(data))

        if _most(bursts, holds):
            keys = {"length": length, "numbered": {"bits": "7..4", "first": first}}
            return _made(NUMBERED, keys, _whole(bursts, holds), bursts)
    return None


# ---- reports of a fixed size ----


def _reports(bursts: Sequence[Burst]) -> Framing | None:
    """Reports of 8 bytes (or 16, 32, 64) whose first byte says how many follow; what they carry is framed again."""
    for size in (8, 16, 32, 64):
        for bits, mask in (("3..0", 0x0F), ("7..0", 0xFF)):

            def holds(data: bytes, size: int = size, mask: int = mask) -> bool:
                heads = data[::size]
                return len(data) % size == 0 and all(0 < head & mask < size for head in heads)

            if not _most(bursts, holds) or not _is_padded(bursts, size, mask):
                continue
            inner = [_carried(burst, size, mask) for burst in bursts if holds(burst.data)]
            found = find_framing(inner)
            if found is not None and not found.stream:
                raws = {
                    (burst.at, carried.data): burst.data
                    for burst, carried in zip((b for b in bursts if holds(b.data)), inner, strict=True)
                }
                frames = tuple(
                    CutFrame(at=f.at, raw=raws.get((f.at, f.raw), f.raw), data=f.data, asked=f.asked)
                    for f in found.frames
                )
                return _made(
                    f"reports of {size} bytes, {found.kind}", found.keys, frames, bursts, start=found.start,
                    end=found.end, is_text=found.is_text, stream=({"reports": size, "count": bits},),
                )  # fmt: skip
    return None


def _is_padded(bursts: Sequence[Burst], size: int, mask: int) -> bool:
    """Whether a report that carries less than it could was seen: else the first byte is no count."""
    heads = {burst.data[place] & mask for burst in bursts for place in range(0, len(burst.data), size)}
    lasts = [burst.data[-size:] for burst in bursts if len(burst.data) >= size]
    fills = {last[1 + (last[0] & mask) :] for last in lasts}
    return heads != {size - 1} and all(len(set(fill)) <= 1 for fill in fills) and any(fills)


def _carried(burst: Burst, size: int, mask: int) -> Burst:
    from meterlog.profile.propose.stream import Burst as Made

    data = b"".join(
        burst.data[place + 1 : place + 1 + (burst.data[place] & mask)] for place in range(0, len(burst.data), size)
    )
    return Made(at=burst.at, data=data, asked=burst.asked)


# ---- lines of text ----


def _text(bursts: Sequence[Burst]) -> Framing | None:
    for end in (b"\r\n", b"\n\r", b"\r", b"\n", b"\x03", b"\x00"):

        def holds(data: bytes, end: bytes = end) -> bool:
            body = data.removesuffix(end)
            if body[:1] == b"\x02":
                body = body[1:]
            inner = [line for line in body.split(end) if line]
            return data.endswith(end) and bool(inner) and all(set(line) <= _PRINTED for line in inner)

        if not _most(bursts, holds):
            continue
        frames = []
        for burst in bursts:
            if holds(burst.data):
                for line in burst.data.split(end)[:-1]:
                    frames.append(CutFrame(at=burst.at, raw=line + end, data=line + end, asked=burst.asked))
        start = b"\x02" if all(frame.raw[:1] == b"\x02" for frame in frames) else b""
        colon = b":" if all(frame.raw[:1] == b":" for frame in frames) and not start else b""
        keys: dict[str, Any] = {"end": _named(end)}
        if start or colon:
            keys = {"start": _named(start or colon), **keys}
        if colon and all(_is_hex(frame.raw[1 : -len(end)]) for frame in frames):
            packed = tuple(
                CutFrame(
                    at=f.at, raw=f.raw, data=b":" + bytes.fromhex(f.raw[1 : -len(end)].decode()) + end, asked=f.asked
                )
                for f in frames
            )
            keys["hex digits"] = True
            return _made("pairs of hex digits", keys, packed, bursts, start=1, end=len(end))
        return _made(
            "lines of text", keys, tuple(frames), bursts, start=len(start or colon), end=len(end), is_text=True
        )
    return None


def _is_hex(line: bytes) -> bool:
    return len(line) >= 4 and len(line) % 2 == 0 and set(line) <= set(b"0123456789ABCDEF")


def _named(data: bytes) -> str:
    names = {0x0D: "<CR>", 0x0A: "<LF>", 0x02: "<STX>", 0x03: "<ETX>", 0x00: "<NUL>"}
    return "".join(names.get(byte, chr(byte)) for byte in data)


# ---- marks with escapes ----


def _escaped(bursts: Sequence[Burst]) -> Framing | None:
    """A mark at both ends that never stands within, and a byte before what would look like it."""
    firsts, lasts = ({burst.data[i] for burst in bursts[1:-1]} for i in (0, -1))
    if len(lasts) != 1:
        return None
    last = lasts.pop()
    first = firsts.pop() if len(firsts) == 1 else None
    if len({len(burst.data) for burst in bursts}) > 1:
        tried = [_escaped_by(bursts, first, last, by, xor) for by, xor in _ESCAPES]
        found = [framing for framing in tried if framing is not None]
        if found:
            return max(found, key=lambda framing: framing.explained)
    if first is not None and first == last and _most(bursts, lambda d: first not in d[1:-1] and len(d) > 3):
        keys = {"start": hex_of(bytes([first])), "end": hex_of(bytes([last]))}
        return _made("marks at both ends", keys, _whole(bursts, lambda d: first not in d[1:-1]), bursts, start=1, end=1)
    return None


_ESCAPES = ((0x7D, 0x20), (0x1B, 0x80), (0x10, 0x40), (0xDB, None), (0x10, 0xFF))
"""The byte before an escaped one and what that is xored with; None: the codes of serial line framing (RFC 1055)."""


def _escaped_by(bursts: Sequence[Burst], first: int | None, last: int, by: int, xor: int | None) -> Framing | None:
    """Frames with one way of escaping undone, where that leaves few lengths and no burst speaks against it."""
    flag = first if first == last else None
    seen = sum(by in burst.data for burst in bursts)
    if by in (last, flag) or seen < 2:
        return None
    good = [(burst, data) for burst in bursts if (data := _undone(burst.data, flag, last, by, xor)) is not None]
    lengths, before = (len({len(data) for data in each}) for each in ([d for _, d in good], [b.data for b, _ in good]))
    if len(good) < len(bursts) - 2 or sum(by in b.data for b, _ in good) < seen - 1 or lengths >= before or lengths > 2:
        return None
    start = b"" if flag is None else bytes([flag])
    keys: dict[str, Any] = {"start": hex_of(start)} if start else {}
    how = {"xor": f"0x{xor:02X}"} if xor is not None else {"codes": {"0xDC": "0xC0", "0xDD": "0xDB"}}
    keys |= {"end": hex_of(bytes([last])), "escape": {"by": hex_of(bytes([by])), **how}}
    frames = tuple(CutFrame(at=b.at, raw=b.data, data=data, asked=b.asked) for b, data in good)
    return _made("marks with escapes", keys, frames, bursts, start=len(start), end=1)


def _undone(data: bytes, first: int | None, last: int, by: int, xor: int | None) -> bytes | None:
    body = data[1:-1] if first is not None else data[:-1]
    if last in body or data[-1] != last or (first is not None and data[0] != first):
        return None
    out, place = bytearray(), 0
    while place < len(body):
        byte = body[place]
        if byte == by:
            place += 1
            if place == len(body):
                return None
            code = body[place]
            if xor is None:
                if code not in (0xDC, 0xDD):
                    return None
                byte = 0xC0 if code == 0xDC else 0xDB
            else:
                byte = code ^ xor
                if byte not in (by, last) and byte != first:
                    return None
        out.append(byte)
        place += 1
    return (b"" if first is None else data[:1]) + bytes(out) + data[-1:]


# ---- one length ----


def _fixed(bursts: Sequence[Burst]) -> Framing | None:
    length = _length(bursts)
    if length is None or length < 3:
        return None

    def holds(data: bytes) -> bool:
        return len(data) == length

    frames = _whole(bursts, holds)
    lead, end = _lead(frames), _end(frames)
    keys: dict[str, Any] = {"start": hex_of(lead)} if lead else {}
    keys["length"] = length
    if end:
        keys["end"] = _named(end) if end != b"\x03" else "<ETX>"
    if not lead and not end:
        marked = _marked_bit(bursts)
        if marked is not None:
            return marked
        keys = {"silence": "20 ms"}
        return _made("one length, parted by silence", keys, frames, bursts)
    kind = " and ".join(filter(None, ["one length", "a mark before" * bool(lead), "a mark behind" * bool(end)]))
    return _made(kind, keys, frames, bursts, start=len(lead), end=len(end))


def _constant(frames: Sequence[CutFrame], place: int) -> bool:
    return len({frame.data[place] for frame in frames}) == 1


def _lead(frames: Sequence[CutFrame]) -> bytes:
    """Bytes that every frame begins with and that look like a mark: one, or two that no data repeat."""
    if not _constant(frames, 0):
        return b""
    lead = frames[0].data[:1]
    if _constant(frames, 1) and lead[0] >= 0x80 and frames[0].data[1] not in (0x00, 0x01):
        two = frames[0].data[:2]
        if two[1] >= 0x40:
            return two
    return lead


def _end(frames: Sequence[CutFrame]) -> bytes:
    for end in (b"\r\n", b"\x03", b"\r", b"\n"):
        if all(frame.data.endswith(end) for frame in frames):
            return end
    return b""


# ---- a length that is told ----


def _told_length(bursts: Sequence[Burst]) -> Framing | None:
    lengths = Counter(len(burst.data) for burst in bursts)
    common = [length for length, count in lengths.items() if count > 1]
    if len(common) < 2 or min(common) < 4:
        return None
    shared = min(common)
    for place in range(min(6, shared)):
        plus = Counter(len(b.data) - b.data[place] for b in bursts if len(b.data) > place)
        amount, count = plus.most_common(1)[0]
        if count >= _SHARE * len(bursts) - 1 and abs(amount) <= 16:

            def holds(data: bytes, place: int = place, amount: int = amount) -> bool:
                return len(data) > place and len(data) - data[place] == amount

            frames = _whole(bursts, holds)
            lead = _lead(frames)[:place]
            keys: dict[str, Any] = {"start": hex_of(lead)} if lead else {}
            keys["length"] = {"byte": place, "plus": amount} if amount else {"byte": place}
            return _made("a length that the frame tells", keys, frames, bursts, start=len(lead))
    return None


# ---- a bit that marks an end, silence ----


def _marked_bit(bursts: Sequence[Burst]) -> Framing | None:
    for bit in (7, 6):
        mask = 1 << bit

        def first(data: bytes, mask: int = mask) -> bool:
            return len(data) > 1 and bool(data[0] & mask) and not any(byte & mask for byte in data[1:])

        def last(data: bytes, mask: int = mask) -> bool:
            return len(data) > 1 and bool(data[-1] & mask) and not any(byte & mask for byte in data[:-1])

        length = _length(bursts)
        if length is not None and _most(bursts, first):
            return _made("a bit in the first byte", {"length": length, "start bit": bit}, _whole(bursts, first), bursts)
        if _most(bursts, last):
            return _made("a bit in the last byte", {"end bit": bit}, _whole(bursts, last), bursts)
    return None


def _silence(bursts: Sequence[Burst]) -> Framing | None:
    lengths = Counter(len(burst.data) for burst in bursts)
    often = [length for length, count in lengths.items() if count >= 3]
    if not often or sum(lengths[length] for length in often) < _SHARE * len(bursts) - 1 or len(often) > 3:
        return None
    return _made("silence alone", {"silence": "20 ms"}, _whole(bursts, lambda d: len(d) in often), bursts)
