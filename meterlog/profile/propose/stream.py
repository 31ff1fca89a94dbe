"""A recording as a proposal sees it: bursts of bytes between pauses, and what was asked before each."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.recording import Event

PAUSE_S = 0.05
"""A silence that parts two bursts, s: longer than a driver keeps bytes back, shorter than a display's pace."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Burst:
    """Bytes without a pause in them; `at` is when the last came, s, `asked` what was sent before it."""

    at: float
    data: bytes
    asked: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class Requests:
    """What was sent again and again, and how often, s; empty for an instrument that speaks by itself."""

    sent: tuple[bytes, ...]
    every_s: float


def bursts_of(events: Sequence[Event]) -> tuple[Burst, ...]:
    """The bursts of a recording; a request parts them too."""
    bursts: list[Burst] = []
    data, at, asked = bytearray(), 0.0, b""

    def close() -> None:
        if data:
            bursts.append(Burst(at=at, data=bytes(data), asked=asked))
            data.clear()

    for event in events:
        if event.kind == "in" and event.data:
            if event.at - at > PAUSE_S:
                close()
            data += event.data
            at = event.at
        elif event.kind == "out":
            close()
            asked = event.data
    close()
    return tuple(bursts)


def requests_of(events: Sequence[Event]) -> Requests:
    """What was asked in turn, and the time from one round to the next."""
    sent = [event for event in events if event.kind == "out"]
    counted = Counter(event.data for event in sent)
    again = tuple(data for data, count in counted.items() if count >= 3)
    times = [event.at for event in sent if again and event.data == again[0]]
    pace = median(b - a for a, b in itertools.pairwise(times)) if len(times) > 1 else 0.5
    return Requests(sent=again, every_s=pace)
