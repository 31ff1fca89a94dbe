"""How a stream is cut into frames: what a rule that was found says, and what all rules ask of bursts."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from meterlog.profile.propose.stream import Burst

FEWEST = 10
"""Frames below which no rule is proposed."""

NUMBERED = "numbered bytes"

SHARE = 0.98
"""Part of the bursts that a rule must explain: the first and the last may be cut, and one damaged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFrame:
    """One frame: as it came, as it is meant (escapes undone), and when its last byte came, s."""

    at: float
    raw: bytes
    data: bytes
    asked: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """A rule with its frames.

    Attributes:
        kind: its name, for people.
        keys: what a profile says under `frame:` (and `stream:`, where there is a "stream" key).
        start, end: bytes at the ends of `CutFrame.data` that are marks and no data.
        is_text: whether frames are printed characters.
        explained: bursts that it explains, of `bursts`.
    """

    kind: str
    keys: Mapping[str, Any]
    frames: tuple[CutFrame, ...]
    start: int = 0
    end: int = 0
    is_text: bool = False
    explained: int = 0
    bursts: int = 0
    stream: tuple[str | Mapping[str, Any], ...] = field(default=())


def most(bursts: Sequence[Burst], holds: Callable[[bytes], bool]) -> bool:
    return sum(holds(burst.data) for burst in bursts) >= SHARE * len(bursts) - 1


def usual_length(bursts: Sequence[Burst]) -> int | None:
    """The length that nearly all bursts have."""
    length, count = Counter(len(burst.data) for burst in bursts).most_common(1)[0]
    return length if count >= SHARE * len(bursts) - 1 else None


def whole_frames(bursts: Sequence[Burst], holds: Callable[[bytes], bool]) -> tuple[CutFrame, ...]:
    return tuple(
        CutFrame(at=burst.at, raw=burst.data, data=burst.data, asked=burst.asked)
        for burst in bursts
        if holds(burst.data)
    )


def made(
    kind: str, keys: Mapping[str, Any], frames: tuple[CutFrame, ...], bursts: Sequence[Burst], **more: Any
) -> Framing:
    return Framing(kind=kind, keys=keys, frames=frames, explained=len(frames), bursts=len(bursts), **more)


def hex_of(data: bytes) -> str:
    """Bytes as a profile writes them.

    >>> hex_of(bytes([0xAA, 5]))
    'hex AA 05'
    """
    return "hex " + data.hex(" ").upper()


def mark_names(data: bytes) -> str:
    """Marks as a profile writes them, control characters by their names."""
    names = {0x0D: "<CR>", 0x0A: "<LF>", 0x02: "<STX>", 0x03: "<ETX>", 0x00: "<NUL>"}
    return "".join(names.get(byte, chr(byte)) for byte in data)
