"""Cutting a stream of bytes into candidate frames, and finding step again after garbage.

A framer holds no bytes and no state: it looks at the bytes that have come and answers where the
next candidate lies. What it answers depends only on bytes up to the candidate's end, so that how a
stream was split into pieces changes nothing.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


class FrameCandidate(NamedTuple):
    """A candidate: bytes start..end of what was looked at; with `reason`, one that is no frame."""

    start: int
    end: int
    reason: str = ""


class Framer(Protocol):
    """One way of cutting."""

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        """The next candidate at or after `at`; or from which byte on to keep waiting for more."""
        ...

    def again(self, data: bytes, found: FrameCandidate) -> int:
        """After a candidate is rejected: from which byte on, at most its end, the next may begin."""
        ...


class FixedLength:
    """Frames of one length, told by what each of their bytes may be.

    Args:
        classes: for each byte of the frame the set of its values, None where any will do.
    """

    def __init__(self, classes: Sequence[frozenset[int] | None]) -> None:
        items = [_class(allowed) for allowed in classes]
        self.length = len(items)
        self.classes = tuple(classes)
        self._whole = re.compile(b"".join(items), re.DOTALL)
        self._begun = _prefix(classes)

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        match = self._whole.search(data, at)
        if match:
            return FrameCandidate(match.start(), match.end())
        return self._begun(data, max(at, len(data) - self.length + 1), len(data))

    def again(self, data: bytes, found: FrameCandidate) -> int:
        return self._begun(data, found.start + 1, found.end)


def _class(allowed: frozenset[int] | None) -> bytes:
    if allowed is None:
        return b"."
    return b"[" + b"".join(b"\\x%02x" % value for value in sorted(allowed)) + b"]"


def _prefix(classes: Sequence[frozenset[int] | None]) -> Callable[[bytes, int, int], int]:
    """Where, from a byte on, the beginning of a frame stands that is cut off at an end; else that end."""
    told = [(place, allowed) for place, allowed in enumerate(classes) if allowed is not None]

    def begun(data: bytes, at: int, end: int) -> int:
        for start in range(at, end):
            left = end - start
            for place, allowed in told:
                if place >= left:
                    return start
                if data[start + place] not in allowed:
                    break
            else:
                return start
        return end

    return begun


class Delimited:
    """Frames that end with a mark, and may begin with one.

    A start mark may stand in a frame's own bytes, and a frame that lost its end runs into the next. Where something
    proves a frame as a whole, each beginning is tried, the first first; else a second mark makes it no frame.

    Args:
        behind: bytes of the frame behind its end mark, such as a check.
        is_proved: a frame that another has run into is not believed, whatever its first bytes are.
        beginnings: marks or texts that frames begin with, at which the next may begin within one that is damaged.
    """

    def __init__(
        self,
        starts: tuple[bytes, ...],
        ends: tuple[bytes, ...],
        longest: int,
        behind: int = 0,
        *,
        is_proved: bool = False,
        beginnings: tuple[bytes, ...] = (),
    ) -> None:
        self.starts, self.ends = starts, ends
        self.longest, self.behind = longest, behind
        self.is_proved = is_proved
        self._end = re.compile(b"(?:" + any_of(ends) + b").{%d}" % behind, re.DOTALL)
        self._start = re.compile(any_of(starts)) if starts else None
        self._anew = re.compile(any_of(beginnings)) if beginnings and (is_proved or not starts) else None
        self._most = longest + max(map(len, ends)) + behind

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        match = self._end.search(data, at, at + self._most)
        if match is None:
            if len(data) - at >= self._most:
                return FrameCandidate(at, at + self.longest, f"no end within {self.longest} bytes")
            return at
        if self._start is None:
            return FrameCandidate(at, match.end())
        start = self._start.search(data, at, match.start())
        if start is None:
            return FrameCandidate(at, match.end(), f"does not begin with {in_words(self.starts)}")
        if not self.is_proved and self._start.search(data, start.end(), match.start()):
            return FrameCandidate(start.start(), match.end(), "a second start mark stands before its end")
        return FrameCandidate(start.start(), match.end())

    def again(self, data: bytes, found: FrameCandidate) -> int:
        """The next beginning within it; or, where bytes behind the end mark were lost, that of the next frame."""
        match = self._anew.search(data, found.start + 1, found.end) if self._anew else None
        if match:
            return match.start()
        if self.starts and not found.reason:
            for place in range(max(found.start + 1, found.end - self.behind), found.end):
                if data.startswith(self.starts, place):
                    return place
        return found.end


def any_of(words: Sequence[bytes]) -> bytes:
    """The pattern of one of some words, the longest that fits."""
    return b"|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))


def begun_of(starts: Sequence[bytes], data: bytes, at: int, end: int) -> int:
    """Where a start mark may have begun that is cut off at an end; else that end."""
    for place in range(max(at, end - max(map(len, starts), default=1) + 1), end):
        if any(start.startswith(data[place:end]) for start in starts):
            return place
    return end


class SelfTelling:
    """Frames that begin with a mark and tell their own length.

    Args:
        starts: what a frame begins with; empty: any byte may begin one.
        length: the whole length, from a frame's first bytes: None while there are too few of them, 0
            when they are no beginning of a frame.
        ends: what a frame ends with; empty: anything. behind: bytes of the frame behind its end mark.
    """

    def __init__(
        self,
        starts: tuple[bytes, ...],
        length: Callable[[bytes, int], int | None],
        ends: tuple[bytes, ...],
        behind: int = 0,
    ) -> None:
        self._start = re.compile(any_of(starts) or b"(?=.)", re.DOTALL)
        self._starts = starts
        self._ends, self._behind = ends, behind
        self._length = length

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        while True:
            match = self._start.search(data, at)
            if match is None:
                return begun_of(self._starts, data, at, len(data))
            start = match.start()
            length = self._length(data, start)
            if length is None or start + (length or 0) > len(data):
                return start
            if length == 0:
                at = start + 1
                continue
            end = start + length
            if self._ends and not data[start : end - self._behind].endswith(self._ends):
                return FrameCandidate(start, end, "does not end as a frame does")
            return FrameCandidate(start, end)

    def again(self, data: bytes, found: FrameCandidate) -> int:
        match = self._start.search(data, found.start + 1, found.end)
        return match.start() if match else begun_of(self._starts, data, found.start + 1, found.end)


class BegunByBit(SelfTelling):
    """Frames that tell their own length, of which the first byte alone has a bit set."""

    def __init__(self, bit: int, length: Callable[[bytes, int], int | None]) -> None:
        super().__init__(tuple(bytes((value,)) for value in range(256) if value >> bit & 1), length, ())

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        found = super().find(data, at)
        start, end = (found, len(data)) if isinstance(found, int) else (found.start, found.end)
        following = self._start.search(data, start + 1, end)
        return (
            FrameCandidate(start, following.start(), "another begins before its length is full") if following else found
        )


class MarkedByBit:
    """Frames of which the first byte, or the last, has a bit set that the others have not."""

    def __init__(self, start_bit: int | None, end_bit: int | None, length: int | None, longest: int) -> None:
        first = _with_bit(start_bit) if start_bit is not None else b"."
        last = _with_bit(end_bit) if end_bit is not None else b"."
        both = [bit for bit in (start_bit, end_bit) if bit is not None]
        inner = _without_bits(both)
        self._longest = longest
        self._length = length
        if end_bit is not None and start_bit is None:
            first = inner
        elif end_bit is None:
            last = inner
        count = b"{%d}" % (length - 2) if length else b"{0,%d}" % (longest - 2)
        self._whole = re.compile(first + inner + count + last, re.DOTALL)
        self._first = re.compile(first + inner + (b"{0,%d}" % longest) + rb"\Z", re.DOTALL)

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        match = self._whole.search(data, at)
        if match:
            return FrameCandidate(match.start(), match.end())
        return self._begun(data, at, len(data))

    def again(self, data: bytes, found: FrameCandidate) -> int:
        return self._begun(data, found.start + 1, found.end)

    def _begun(self, data: bytes, at: int, end: int) -> int:
        match = self._first.search(data, max(at, end - (self._length or self._longest) + 1), end)
        return match.start() if match else end


def _with_bit(bit: int) -> bytes:
    return _class(frozenset(value for value in range(256) if value >> bit & 1))


def _without_bits(bits: Sequence[int]) -> bytes:
    return _class(frozenset(value for value in range(256) if not any(value >> bit & 1 for bit in bits)))


class Silence:
    """Frames parted by silence: nothing but time ends one. `Conversation` takes what came between.

    Args:
        starts: what a frame begins with; empty: anything.
    """

    def __init__(self, starts: tuple[bytes, ...], longest: int) -> None:
        self.starts, self.longest = starts, longest

    def find(self, data: bytes, at: int) -> FrameCandidate | int:
        if len(data) - at > self.longest:
            return FrameCandidate(at, at + self.longest, f"no silence within {self.longest} bytes")
        return at

    def whole(self, data: bytes) -> FrameCandidate:
        """What came between two silences."""
        if self.starts and not data.startswith(self.starts):
            return FrameCandidate(0, len(data), f"does not begin with {in_words(self.starts)}")
        return FrameCandidate(0, len(data))

    def again(self, data: bytes, found: FrameCandidate) -> int:
        return found.end


def in_words(marks: Sequence[bytes]) -> str:
    """Marks as a message shows them: as text where they are, else in hex."""
    return " or ".join(repr(mark.decode()) if mark.isascii() else f"hex {mark.hex(' ').upper()}" for mark in marks)
