"""Bytes that were turned before they were sent: halves swapped, bits reversed, a key over all. Found by their sum.

An exclusive or and a CRC hold through a key and through reversed bits; a sum does not, so that one which holds after
768 ways of turning tells which it was.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from meterlog.profile.propose.checks import find_check
from meterlog.profile.propose.rules import find_framing
from meterlog.profile.propose.stream import Burst

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.proofs import FoundCheck

SWAPPED = bytes((byte << 4 | byte >> 4) & 0xFF for byte in range(256))
REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
TURNS = {"swap halves": SWAPPED, "reverse bits": REVERSED}
"""Ways of turning that the profile language names under `stream:`."""

_KEYS = 4  # of the bytes that come most often
_TRIED = 12  # frames that a way must satisfy before all are asked


def find_transform(bursts: Sequence[Burst], framing: Framing) -> tuple[tuple[str, ...], Framing, FoundCheck] | None:
    """(what to write under `stream:`, the framing after it, its check), where some way of turning makes a sum hold."""
    if framing.is_text or framing.stream:
        return None
    few = _few(framing.frames)
    for words, table in _ways():
        if not any(_sums_hold([data.translate(table) for data in few], size) for size in (1, 2)):
            continue
        turned = [Burst(at=burst.at, data=burst.data.translate(table), asked=burst.asked) for burst in bursts]
        again = find_framing(turned)
        check = find_check(again.frames, again.end) if again is not None else None
        if again is not None and check is not None and "plus" not in check.keys and "sum" in check.name:
            return words, again, check
    return None


def turned_ways(bursts: Sequence[Burst], framing: Framing) -> Iterator[tuple[tuple[str, ...], Framing]]:
    """Ways of turning that no check shows, for the digits of notes to tell: halves swapped, bits reversed, a key.

    Frames hold many zeros, so that a key is among the bytes that come most often.
    """
    if framing.is_text or framing.stream:
        return
    often = Counter(byte for frame in framing.frames for byte in frame.data).most_common(_KEYS)
    keys = {f"xor 0x{key:02X}": bytes(byte ^ key for byte in range(256)) for key, _ in often if key}
    for name, table in {**TURNS, **keys}.items():
        turned = [Burst(at=burst.at, data=burst.data.translate(table), asked=burst.asked) for burst in bursts]
        again = find_framing(turned)
        if again is not None and not again.is_text:
            yield (name,), again


def _few(frames: Sequence[CutFrame]) -> list[bytes]:
    distinct = sorted({frame.data for frame in frames})
    return distinct[:: max(1, len(distinct) // _TRIED)][:_TRIED]


def _ways() -> Iterator[tuple[tuple[str, ...], bytes]]:
    """The words of each way with its table; a key comes first, as it does on the wire."""
    plain = bytes(range(256))
    for key in range(256):
        for name, turn in (("", plain), *TURNS.items()):
            if not key and not name:
                continue
            table = bytes(turn[byte ^ key] for byte in range(256))
            words = ((f"xor 0x{key:02X}",) if key else ()) + ((name,) if name else ())
            yield words, table


def _sums_hold(frames: Sequence[bytes], size: int) -> bool:
    mask = (1 << 8 * size) - 1
    for skip in (0, 1, 2, 3):
        for order in ("big", "little")[:size]:
            ways = {
                sum(data[skip:-size]) + int.from_bytes(data[-size:], "big" if order == "big" else "little") & mask
                for data in frames
            }
            if ways in ({0}, {mask}):
                return True
            if all(
                sum(data[skip:-size]) & mask == int.from_bytes(data[-size:], "big" if order == "big" else "little")
                for data in frames
            ):
                return True
    return False
