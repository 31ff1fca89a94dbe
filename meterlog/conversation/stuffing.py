"""Frames whose bytes were changed so that none of them looks like a mark: cut by their marks, then undone.

A sender that must not send a mark within a frame puts an escape byte before it, and another byte in its
place. The marks are looked for in the bytes as they come; length, check and places count what is undone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import cycle
from typing import TYPE_CHECKING

from meterlog.conversation.framing import FrameCandidate, any_of, begun_of
from meterlog.conversation.reasons import Unlike

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

HEAD = 64
"""Bytes from a frame's front among which those that tell its length stand."""
BROKEN_ESCAPE = "an escape byte stands before a byte that is never escaped"
NO_PAIRS = "no pairs of hex digits between the marks"
_PAIRS = re.compile(rb"(?:[0-9A-Fa-f]{2})*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Escape:
    """How bytes are written that would be taken for marks: an escape byte, and one that stands for them.

    Attributes:
        by: the escape byte.
        stands_for: the byte that each byte behind an escape byte stands for; others are never escaped.
    """

    by: int
    stands_for: Mapping[int, int]

    def undo(self, data: bytes) -> bytes | None:
        """The bytes as they were meant; None where an escape byte stands before one that is never escaped.

        >>> Escape(by=0x7D, stands_for={0x5E: 0x7E, 0x5D: 0x7D}).undo(bytes.fromhex("01 7D 5E 02")).hex(" ")
        '01 7e 02'
        """
        if self.by not in data:
            return data
        out = bytearray()
        rest = iter(data)
        for byte in rest:
            meant = self.stands_for.get(next(rest, -1)) if byte == self.by else byte
            if meant is None:
                return None
            out.append(meant)
        return bytes(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """What is done to a frame once it is cut: escapes undone, hex read, then the key's xor; marks stay as they came.

    Attributes:
        starts, ends: the marks; behind: bytes behind the end mark, which are left as they came too.
        in_hex: two hex digits stand for each byte between the marks.
        key: the bytes that those of `over` are xored with, over and over; none: no xor.
        over: a Python slice of the whole frame; None: all between the marks.
    """

    starts: tuple[bytes, ...] = ()
    ends: tuple[bytes, ...] = ()
    behind: int = 0
    escape: Escape | None = None
    in_hex: bool = False
    key: bytes = b""
    over: tuple[int, int | None] | None = None

    def __call__(self, frame: bytes) -> bytes | str:
        """The frame as it was meant, or why it can not have been meant so."""
        first = max((len(mark) for mark in self.starts if frame.startswith(mark)), default=0)
        marked = frame[: len(frame) - self.behind] if self.behind else frame
        last = len(marked) - max((len(mark) for mark in self.ends if marked.endswith(mark)), default=0)
        inner: bytes | None = frame[first : max(first, last)]
        if self.escape and inner is not None:
            inner = self.escape.undo(inner)
        if inner is None:
            return BROKEN_ESCAPE
        if self.in_hex:
            if not _PAIRS.fullmatch(inner):
                return Unlike(NO_PAIRS)
            inner = bytes.fromhex(inner.decode())
        whole = frame[:first] + inner + frame[max(first, last) :]
        if not self.key:
            return whole
        begin, end, _ = slice(*(self.over or (first, first + len(inner)))).indices(len(whole))
        return whole[:begin] + self.xored(whole[begin:end]) + whole[max(begin, end) :]

    def xored(self, data: bytes) -> bytes:
        """Each byte xored with the next of the key."""
        return bytes(byte ^ part for byte, part in zip(data, cycle(self.key), strict=False))


class Stuffed:
    """Frames between marks that their bytes never look like, or whose start and end mark are the same.

    Args:
        escape: how bytes that look like marks are written; None: they never come.
        behind: bytes of the frame behind its end mark.
        length: of the frame as it was meant, marks included, or a function of its first bytes that answers it: None
            while there are too few of them, 0 when they are no beginning of a frame; None: its end mark ends it.
        longest: bytes between the marks after which a frame without end is given up.
    """

    def __init__(
        self,
        starts: tuple[bytes, ...],
        ends: tuple[bytes, ...],
        escape: Escape | None,
        *,
        behind: int = 0,
        length: int | Callable[[bytes, int], int | None] | None = None,
        longest: int = 512,
    ) -> None:
        self._starts, self._escape, self._behind = starts, escape, behind
        self._length, self._longest = length, longest
        self._same = starts == ends
        self._tail = max(map(len, ends), default=0)
        self._start = re.compile(any_of(starts), re.DOTALL)
        self._ends = re.compile(any_of(ends), re.DOTALL) if ends else None
        self._kept = tuple(mark for mark in starts if self._never_within(mark))
        self._one = _token(ends + self._kept, escape)
        self._all = re.compile(self._one + b"*+", re.DOTALL)

    def _never_within(self, mark: bytes) -> bool:
        """Whether escapes keep a start mark from standing within a frame."""
        if self._escape is None:
            return False
        return self._escape.by in mark or set(mark) <= set(self._escape.stands_for.values())

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        while True:
            first = inner = at
            if self._starts:
                match = self._start.search(data, at)
                if match is None:
                    return begun_of(self._starts, data, at, len(data))
                first, inner = match.span()
            found = self._from(data, first, inner)
            if not isinstance(found, int) or found == first:
                return found
            at = found

    def _from(self, data: bytes, first: int, inner: int) -> FrameCandidate | int:
        """The frame that begins at a place; that place to wait for more; or a later one, where none begins there."""
        limit = inner + self._longest
        count = self._count(data, first, inner)
        if count is not None and count < 0:
            return first + 1
        stop, is_whole = self._body(data, inner, count)
        ended = self._ends.match(data, stop) if self._ends else None
        if is_whole and (ended or not self._ends):
            end = (ended.end() if ended else stop) + self._behind
            if stop == inner and self._length is None:
                return stop if self._starts else end  # marks with nothing between them are filling
            return FrameCandidate(first, end) if end <= len(data) else first
        if ended:
            return FrameCandidate(first, ended.end(), "ends before its length is full")
        if self._start.match(data, stop) and self._kept:
            return FrameCandidate(first, stop, "another begins before its end")
        if len(data) >= limit + self._tail:
            return FrameCandidate(first, limit, f"no end within {self._longest} bytes")
        if is_whole and self._length is not None and len(data) >= stop + self._tail:
            return FrameCandidate(first, stop, "does not end as a frame does")
        return first

    def _body(self, data: bytes, inner: int, count: int | None) -> tuple[int, bool]:
        """Where what is between the marks ends, as far as it has come, and whether it is as long as is told."""
        limit = inner + self._longest
        if count is None:
            return _end(self._all, data, inner, limit), self._length is None
        match = _so_many(self._one, count, count).match(data, inner, limit)
        return (match.end(), True) if match else (_end(_so_many(self._one, 0, count), data, inner, limit), False)

    def _count(self, data: bytes, first: int, inner: int) -> int | None:
        """Bytes as they were meant between the marks; None where nothing tells it yet, -1 where no frame begins."""
        length = self._length
        if callable(length):
            length = length(data[first:inner] + self._meant(data[inner : inner + 2 * HEAD]), 0)
        if length is None:
            return None
        return length - (inner - first) - self._tail - self._behind if length else -1

    def _meant(self, data: bytes) -> bytes:
        """As many bytes as were meant from the front; a zero in place of an escape that means nothing."""
        if self._escape is None:
            return data
        pairs = [match[0] for match in re.finditer(self._one, data, re.DOTALL)]
        return b"".join(self._escape.undo(pair) or b"\0" for pair in pairs)

    def again(self, data: bytes, found: FrameCandidate) -> int:
        if self._starts and (self._same or not self._kept):
            match = self._start.search(data, found.start + 1, found.end)
            return match.start() if match else begun_of(self._starts, data, found.start + 1, found.end)
        return found.end


@lru_cache(maxsize=1024)
def _so_many(token: bytes, least: int, most: int) -> re.Pattern[bytes]:
    return re.compile(token + b"{%d,%d}+" % (least, most), re.DOTALL)


def _end(pattern: re.Pattern[bytes], data: bytes, at: int, limit: int) -> int:
    match = pattern.match(data, at, limit)
    assert match
    return match.end()


def _token(marks: tuple[bytes, ...], escape: Escape | None) -> bytes:
    """The pattern of one byte as it was meant: itself, or an escape byte with the one behind it."""
    ahead = b"(?!" + any_of(marks) + b")" if marks else b""
    if escape is None:
        return b"(?:" + ahead + b".)"
    by = re.escape(bytes((escape.by,)))
    single = any_of(tuple(mark for mark in marks if len(mark) == 1))
    pair = by + b"(?:(?!" + single + b").|(?=" + single + b"))" if single else by + b"."
    return b"(?:" + ahead + b"(?:[^" + by + b"]|" + pair + b"))"
