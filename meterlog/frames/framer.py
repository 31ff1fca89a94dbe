"""Cutting a stream of bytes into candidate frames, and finding step again after garbage.

A framer holds no bytes and no state: it looks at the bytes that have come and answers where the
next candidate lies. What it answers depends only on bytes up to the candidate's end, so that how a
stream was split into pieces changes nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Found:
    """A candidate: bytes start..end of what was looked at; with `reason`, one that is no frame."""

    start: int
    end: int
    reason: str = ""


class Framer(Protocol):
    """One way of cutting."""

    def find(self, data: bytes, at: int) -> Found | int:
        """The next candidate at or after `at`; or from which byte on to keep waiting for more."""
        ...

    def again(self, data: bytes, found: Found) -> int:
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
        self._whole = re.compile(b"".join(items), re.DOTALL)
        self._begun = re.compile(_prefix(items), re.DOTALL)

    def find(self, data: bytes, at: int) -> Found | int:
        match = self._whole.search(data, at)
        if match:
            return Found(match.start(), match.end())
        begun = self._begun.search(data, max(at, len(data) - self.length + 1))
        return begun.start() if begun else len(data)

    def again(self, data: bytes, found: Found) -> int:
        begun = self._begun.search(data, found.start + 1, found.end)
        return begun.start() if begun else found.end


def _class(allowed: frozenset[int] | None) -> bytes:
    if allowed is None:
        return b"."
    return b"[" + b"".join(b"\\x%02x" % value for value in sorted(allowed)) + b"]"


def _prefix(items: list[bytes]) -> bytes:
    """Matches the beginning of a frame that is cut off at the end of what is looked at."""
    pattern = rb"\Z"
    for item in reversed(items[:-1]):
        pattern = b"%s(?:\\Z|%s)" % (item, pattern)
    return pattern


class Delimited:
    """Frames that end with a mark; with `start`, they begin at its last place before the end."""

    def __init__(self, start: bytes, ends: tuple[bytes, ...], longest: int) -> None:
        self.start = start
        self.longest = longest
        self._end = re.compile(b"|".join(re.escape(end) for end in sorted(ends, key=len, reverse=True)))
        self._most = longest + max(map(len, ends))

    def find(self, data: bytes, at: int) -> Found | int:
        match = self._end.search(data, at, at + self._most)
        if match is None:
            if len(data) - at >= self._most:
                return Found(at, at + self.longest, f"no end within {self.longest} bytes")
            return at
        start = data.rfind(self.start, at, match.end()) if self.start else at
        if start < 0:
            return Found(at, match.end(), f"does not begin with {self.start.decode('latin-1')!r}")
        return Found(start, match.end())

    def again(self, data: bytes, found: Found) -> int:
        return found.end
