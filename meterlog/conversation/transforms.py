"""What is done to a stream of bytes before it is cut into frames."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def table_of(words: Iterable[str]) -> bytes:
    """Transforms of single bytes, in turn, as one table for `bytes.translate`.

    >>> table_of(["swap halves", "xor 0x01"])[0x2A]
    163
    """
    table = list(range(256))
    for word in words:
        name, _, number = word.partition(" ")
        if name == "xor":
            table = [value ^ int(number, 0) for value in table]
        elif name == "mask":
            table = [value & int(number, 0) for value in table]
        elif name == "swap":
            table = [value >> 4 | (value & 15) << 4 for value in table]
        else:
            table = [int(f"{value:08b}"[::-1], 2) for value in table]
    return bytes(table)


class Unwrapper:
    """Reports of a fixed size whose first byte says how many of the following bytes count.

    Args:
        size: bytes of a report. high, low: the bits of the first byte that hold the count.
    """

    def __init__(self, size: int, high: int, low: int) -> None:
        self.size = size
        self._low, self._mask = low, (1 << high - low + 1) - 1
        self._waiting = b""
        self._empty = 0

    def feed(self, data: bytes) -> list[tuple[bytes, list[int]]]:
        """What the bytes complete: pieces of payload, and how many raw bytes each payload byte stands for.

        The first payload byte of a report also stands for its head and for empty reports before it,
        the last for the filling after it; a report that counts more than it holds counts as full.
        """
        self._waiting += data
        pieces = []
        while len(self._waiting) >= self.size:
            report, self._waiting = self._waiting[: self.size], self._waiting[self.size :]
            count = min(report[0] >> self._low & self._mask, self.size - 1)
            if not count:
                self._empty += self.size
                continue
            owned = [1] * count
            owned[0] += 1 + self._empty
            owned[-1] += self.size - 1 - count
            self._empty = 0
            pieces.append((report[1 : 1 + count], owned))
        return pieces
