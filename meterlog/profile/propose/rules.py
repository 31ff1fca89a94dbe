"""Which rule cuts a stream into frames, learned from where it pauses and held to every burst.

A rule is proposed only where it gives, from the bytes alone, the very cuts that the pauses show. Which rule is tried
first is fixed: what needs the least luck comes first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.profile.propose import lengths, marks
from meterlog.profile.propose.framing import FEWEST, CutFrame, Framing, made, most
from meterlog.profile.propose.stream import Burst

if TYPE_CHECKING:
    from collections.abc import Sequence


def find_framing(bursts: Sequence[Burst]) -> Framing | None:
    """The first rule that explains the bursts; None where there are too few, or none does."""
    if len(bursts) < FEWEST:
        return None
    for rule in (
        lengths.numbered,
        marks.text_lines,
        _reports,
        marks.escaped,
        lengths.fixed,
        lengths.told_length,
        lengths.marked_bit,
        lengths.silence,
    ):
        found = rule(bursts)
        if found is not None:
            return found
    return None


def _reports(bursts: Sequence[Burst]) -> Framing | None:
    """Reports of 8 bytes (or 16, 32, 64) whose first byte says how many follow; what they carry is framed again."""
    for size in (8, 16, 32, 64):
        for bits, mask in (("3..0", 0x0F), ("7..0", 0xFF)):

            def holds(data: bytes, size: int = size, mask: int = mask) -> bool:
                heads = data[::size]
                return len(data) % size == 0 and all(0 < head & mask < size for head in heads)

            if not most(bursts, holds) or not _is_padded(bursts, size, mask):
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
                return made(
                    f"reports of {size} bytes, {found.kind}", found.keys, frames, bursts, start=found.start,
                    end=found.end, is_text=found.is_text, stream=({"reports": size, "count": bits},),
                )  # fmt: skip
    return None


def _is_padded(bursts: Sequence[Burst], size: int, mask: int) -> bool:
    """Whether a report with room left was seen, always filled alike: else the first byte is no count."""
    heads = {burst.data[place] & mask for burst in bursts for place in range(0, len(burst.data), size)}
    lasts = [burst.data[-size:] for burst in bursts if len(burst.data) >= size]
    fills = {last[1 + (last[0] & mask) :] for last in lasts}
    same = {byte for fill in fills for byte in fill}
    return heads != {size - 1} and len(same) == 1


def _carried(burst: Burst, size: int, mask: int) -> Burst:
    data = b"".join(
        burst.data[place + 1 : place + 1 + (burst.data[place] & mask)] for place in range(0, len(burst.data), size)
    )
    return Burst(at=burst.at, data=data, asked=burst.asked)
