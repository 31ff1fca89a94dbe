"""The conversation with one instrument: bytes and time in, outcomes out.

Every byte that was received is in exactly one outcome, in the order of the stream. Nothing here
reads a clock or a port; live capture and replay drive it alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.frames.framer import Found
from meterlog.readings import Frame, Outcome, Reading, Rejected, Skipped

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.frames.framer import Framer

MEMO_FRAMES = 4096
"""Distinct frames remembered with what they mean; when there are more, the lot is forgotten."""
SKIPPED_MOST = 1024
"""Bytes outside frames are told at the latest when there are this many."""


class Talk:
    """A free-running instrument: it speaks, we listen."""

    def __init__(self, framer: Framer, decode: Callable[[bytes], tuple[Reading, ...] | str]) -> None:
        self._framer = framer
        self._decode = decode
        self._memo: dict[bytes, tuple[Reading, ...] | str] = {}
        self._rest = b""
        self._offset = 0  # of _rest's first byte in the stream
        self._looked = 0  # bytes of _rest that are known to be outside frames

    def feed(self, data: bytes, at: float) -> list[Outcome]:
        """Take bytes that arrived at a time, s. Answers what they complete."""
        self._rest += data
        data, find = self._rest, self._framer.find
        out: list[Outcome] = []
        begun, place = 0, self._looked
        while True:
            found = find(data, place)
            if not isinstance(found, Found):
                begun = self._skip(out, begun, found, at, whole=False)
                self._looked = found - begun
                break
            begun = self._skip(out, begun, found.start, at, whole=True)
            place = begun = self._take(out, found, at)
        self._rest = data[begun:]
        self._offset += begun
        return out

    def _skip(self, out: list[Outcome], begun: int, end: int, at: float, *, whole: bool) -> int:
        """Tell of skipped bytes in pieces of a fixed size; the last piece only when a frame follows."""
        while end - begun >= SKIPPED_MOST or (whole and end > begun):
            piece = min(end, begun + SKIPPED_MOST)
            out.append(Skipped(self._offset + begun, self._rest[begun:piece], at))
            begun = piece
        return begun

    def _take(self, out: list[Outcome], found: Found, at: float) -> int:
        """One candidate, believed or not. Answers where to look on."""
        raw = self._rest[found.start : found.end]
        said = found.reason or self._memo.get(raw)
        if said is None:
            said = self._decode(raw)
            if len(self._memo) >= MEMO_FRAMES:
                self._memo.clear()
            self._memo[raw] = said
        start = self._offset + found.start
        if isinstance(said, tuple):
            out.append(Frame(start, raw, at, said))
            return found.end
        end = self._framer.again(self._rest, found)
        out.append(Rejected(start, self._rest[found.start : end], at, said))
        return end

    def poll(self, at: float) -> tuple[list[bytes], list[Outcome]]:
        """Bytes to write now, and outcomes that time alone completes."""
        return [], []

    @property
    def wake_at(self) -> float | None:
        """When `poll` must be called next, s; None: only bytes matter."""
        return None

    def sent(self, data: bytes, at: float) -> None:
        """Bytes were written to the instrument."""

    def end(self) -> list[Outcome]:
        """The stream is over: what is left of it was no frame."""
        rest, self._rest = self._rest, b""
        if not rest:
            return []
        start, self._offset, looked, self._looked = self._offset, self._offset + len(rest), self._looked, 0
        out: list[Outcome] = []
        if looked:
            out.append(Skipped(start, rest[:looked], 0.0))
        if rest[looked:]:
            out.append(Rejected(start + looked, rest[looked:], 0.0, "cut short: the stream ended"))
        return out
