"""Received bytes on their way into outcomes: what is cut into frames, and the raw bytes behind each byte of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from meterlog.conversation.transforms import Unwrapper


class Stream:
    """The end of a link's stream that is in no outcome yet.

    Args:
        table: transform of single bytes, for `bytes.translate`. unwrapper: opens reports.

    Attributes:
        rest: what is cut into frames, transformed.
        searched: bytes of the rest that are known to be outside frames.
    """

    def __init__(self, table: bytes | None = None, unwrapper: Unwrapper | None = None) -> None:
        self._table, self._unwrapper = table, unwrapper
        self.rest = b""
        self.searched = 0
        self._raw = b""
        self._owned: list[int] = []  # raw bytes behind each byte of the rest, where reports are opened
        self._offset = 0  # of _raw's first byte in the stream
        self._emitted = 0  # bytes of _raw that are in outcomes already

    @property
    def raw_left(self) -> int:
        """Raw bytes that are in no outcome."""
        return len(self._raw) - self._emitted

    def append(self, data: bytes) -> None:
        """Take bytes that came."""
        self._raw += data
        if self._unwrapper:
            for payload, owned in self._unwrapper.feed(data):
                self.rest += self.transformed(payload)
                self._owned += owned
        else:
            self.rest += self.transformed(data)

    def append_aside(self, data: bytes) -> None:
        """Take bytes that are never cut, such as an echo; `piece` tells them all the same."""
        self._raw += data

    def transformed(self, raw: bytes) -> bytes:
        """Bytes as they are cut and read."""
        return raw.translate(self._table) if self._table else raw

    def piece(self, length: int) -> tuple[int, bytes]:
        """Where in the stream the raw bytes behind the next bytes of the rest stand, and they themselves."""
        if self._unwrapper:
            length, self._owned = sum(self._owned[:length]), self._owned[length:]
        return self.raw_piece(length)

    def raw_piece(self, length: int) -> tuple[int, bytes]:
        """The next raw bytes, and where in the stream they stand."""
        begun = self._emitted
        self._emitted = end = begun + length
        return self._offset + begun, self._raw[begun:end]

    def drop_emitted(self) -> None:
        """Let go of raw bytes that are in outcomes."""
        self._raw = self._raw[self._emitted :]
        self._offset, self._emitted = self._offset + self._emitted, 0
