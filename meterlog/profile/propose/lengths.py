"""Rules of lengths: numbered bytes, one length, a length that is told, a bit at one end, silence alone."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from meterlog.profile.propose.framing import (
    NUMBERED,
    SHARE,
    CutFrame,
    Framing,
    hex_of,
    made,
    mark_names,
    most,
    usual_length,
    whole_frames,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.profile.propose.stream import Burst


def numbered(bursts: Sequence[Burst]) -> Framing | None:
    length = usual_length(bursts)
    if length is None or not 4 <= length <= 15:
        return None
    for first in (0, 1):

        def holds(data: bytes, first: int = first) -> bool:
            return len(data) == length and all(byte >> 4 == place + first for place, byte in enumerate(data))

        if most(bursts, holds):
            keys = {"length": length, "numbered": {"bits": "7..4", "first": first}}
            return made(NUMBERED, keys, whole_frames(bursts, holds), bursts)
    return None


def fixed(bursts: Sequence[Burst]) -> Framing | None:
    length = usual_length(bursts)
    if length is None or length < 3:
        return None

    def holds(data: bytes) -> bool:
        return len(data) == length

    frames = whole_frames(bursts, holds)
    lead, end = _lead(frames), _end(frames)
    keys: dict[str, Any] = {"start": hex_of(lead)} if lead else {}
    keys["length"] = length
    if end:
        keys["end"] = mark_names(end)
    if not lead and not end:
        marked = marked_bit(bursts)
        if marked is not None:
            return marked
        keys = {"silence": "20 ms"}
        return made("one length, parted by silence", keys, frames, bursts)
    kind = " and ".join(filter(None, ["one length", "a mark before" * bool(lead), "a mark behind" * bool(end)]))
    return made(kind, keys, frames, bursts, start=len(lead), end=len(end))


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


def told_length(bursts: Sequence[Burst]) -> Framing | None:
    lengths = Counter(len(burst.data) for burst in bursts)
    common = [length for length, count in lengths.items() if count > 1]
    if len(common) < 2 or min(common) < 4:
        return None
    shared = min(common)
    for place in range(min(6, shared)):
        plus = Counter(len(b.data) - b.data[place] for b in bursts if len(b.data) > place)
        amount, count = plus.most_common(1)[0]
        if count >= SHARE * len(bursts) - 1 and abs(amount) <= 16:

            def holds(data: bytes, place: int = place, amount: int = amount) -> bool:
                return len(data) > place and len(data) - data[place] == amount

            frames = whole_frames(bursts, holds)
            lead = _lead(frames)[:place]
            keys: dict[str, Any] = {"start": hex_of(lead)} if lead else {}
            keys["length"] = {"byte": place, "plus": amount} if amount else {"byte": place}
            return made("a length that the frame tells", keys, frames, bursts, start=len(lead))
    return None


# ---- a bit that marks an end, silence ----


def marked_bit(bursts: Sequence[Burst]) -> Framing | None:
    for bit in (7, 6):
        mask = 1 << bit

        def first(data: bytes, mask: int = mask) -> bool:
            return len(data) > 1 and bool(data[0] & mask) and not any(byte & mask for byte in data[1:])

        def last(data: bytes, mask: int = mask) -> bool:
            return len(data) > 1 and bool(data[-1] & mask) and not any(byte & mask for byte in data[:-1])

        length = usual_length(bursts)
        if length is not None and most(bursts, first):
            return made(
                "a bit in the first byte", {"length": length, "start bit": bit}, whole_frames(bursts, first), bursts
            )
        if most(bursts, last):
            return made("a bit in the last byte", {"end bit": bit}, whole_frames(bursts, last), bursts)
    return None


def silence(bursts: Sequence[Burst]) -> Framing | None:
    lengths = Counter(len(burst.data) for burst in bursts)
    often = [length for length, count in lengths.items() if count >= 3]
    if not often or sum(lengths[length] for length in often) < SHARE * len(bursts) - 1 or len(often) > 3:
        return None
    return made("silence alone", {"silence": "20 ms"}, whole_frames(bursts, lambda d: len(d) in often), bursts)
