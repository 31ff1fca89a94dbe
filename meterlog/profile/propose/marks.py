"""Rules of marks: lines of text, pairs of hex digits, marks at both ends with escapes between."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from meterlog.profile.propose.checks import find_check
from meterlog.profile.propose.framing import CutFrame, Framing, hex_of, made, mark_names, most, whole_frames

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.profile.propose.stream import Burst

_PRINTED = frozenset(range(0x20, 0x7F)) | {0x09, 0xB0, 0xB5, 0xC2, 0xCE, 0xA9}


def text_lines(bursts: Sequence[Burst]) -> Framing | None:
    for end in (b"\r\n", b"\n\r", b"\r", b"\n", b"\x03", b"\x00"):

        def holds(data: bytes, end: bytes = end) -> bool:
            body = data.removesuffix(end)
            if body[:1] == b"\x02":
                body = body[1:]
            inner = [line for line in body.split(end) if line]
            return data.endswith(end) and bool(inner) and all(set(line) <= _PRINTED for line in inner)

        if not most(bursts, holds):
            continue
        frames = []
        for burst in bursts:
            if holds(burst.data):
                for line in burst.data.split(end)[:-1]:
                    frames.append(CutFrame(at=burst.at, raw=line + end, data=line + end, asked=burst.asked))
        start = b"\x02" if all(frame.raw[:1] == b"\x02" for frame in frames) else b""
        colon = b":" if all(frame.raw[:1] == b":" for frame in frames) and not start else b""
        keys: dict[str, Any] = {"end": mark_names(end)}
        if start or colon:
            keys = {"start": mark_names(start or colon), **keys}
        if colon and all(_is_hex(frame.raw[1 : -len(end)]) for frame in frames):
            packed = tuple(
                CutFrame(
                    at=f.at, raw=f.raw, data=b":" + bytes.fromhex(f.raw[1 : -len(end)].decode()) + end, asked=f.asked
                )
                for f in frames
            )
            keys["hex digits"] = True
            return made("pairs of hex digits", keys, packed, bursts, start=1, end=len(end))
        return made("lines of text", keys, tuple(frames), bursts, start=len(start or colon), end=len(end), is_text=True)
    return None


def _is_hex(line: bytes) -> bool:
    return len(line) >= 4 and len(line) % 2 == 0 and set(line) <= set(b"0123456789ABCDEF")


def escaped(bursts: Sequence[Burst]) -> Framing | None:
    """A mark at both ends that never stands within, and a byte before what would look like it."""
    firsts, lasts = ({burst.data[i] for burst in bursts[1:-1]} for i in (0, -1))
    if len(lasts) != 1:
        return None
    last = lasts.pop()
    first = firsts.pop() if len(firsts) == 1 else None
    if len({len(burst.data) for burst in bursts}) > 1:
        flag = first if first == last else None
        ways = [*_ESCAPES, *_escapes_seen(bursts, last, flag)]
        tried = [(way in _ESCAPES, _escaped_by(bursts, first, last, *way)) for way in ways]
        found = [each for is_listed, each in tried if each and (is_listed or find_check(each.frames, each.end))]
        if found:
            return max(found, key=lambda framing: framing.explained)
    if first is not None and first == last and most(bursts, lambda d: first not in d[1:-1] and len(d) > 3):
        keys = {"start": hex_of(bytes([first])), "end": hex_of(bytes([last]))}
        return made(
            "marks at both ends", keys, whole_frames(bursts, lambda d: first not in d[1:-1]), bursts, start=1, end=1
        )
    return None


_ESCAPES = ((0x7D, 0x20), (0x1B, 0x80), (0x10, 0x40), (0xDB, None), (0x10, 0xFF))
"""The byte before an escaped one and what that is xored with; None: the codes of serial line framing (RFC 1055)."""


def _escapes_seen(bursts: Sequence[Burst], last: int, flag: int | None) -> list[tuple[int, int]]:
    """Ways of escaping that longer bursts suggest: a byte in all of them, and what makes the mark of the one behind.

    As no list holds these, a check must hold for the frames that they leave.
    """
    usual = Counter(len(burst.data) for burst in bursts).most_common(1)[0][0]
    longer = [burst.data[1:-1] for burst in bursts if len(burst.data) > usual]
    in_all = set.intersection(*map(set, longer)) - {last, flag} if len(longer) > 1 else set()
    found = []
    for by in sorted(in_all):
        behind = {data[place + 1] for data in longer for place in range(len(data) - 1) if data[place] == by}
        ways = {code ^ meant for code in behind for meant in (last, by)}
        found += [(by, xor) for xor in sorted(ways) if xor and behind <= {last ^ xor, by ^ xor}]
    return found


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
    return made("marks with escapes", keys, frames, bursts, start=len(start), end=1)


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
