"""A live point, found at any moment of a step that shows that points are dead, or that rests on it."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.readings import is_frozen
from meterlog.walk.settle import STRAY_VOLTS, Live, Sample

if TYPE_CHECKING:
    from meterlog.base.readings import Reading

LIVE_S = 0.5
"""Volts above the limit that stand for so long are shouted: a bounce is shorter."""
LIVE_STILL = 0.1
"""What stands keeps within so much of its largest reading: a meter falls faster once its tips have left a source."""
ABOVE_S = 1.5
"""Volts that stay above the limit for so long are shouted, still or not: a meter's own fall is shorter."""
OVER_RANGE_S = 2.0
"""An overload on one range: a meter that hunts for its range leaves each sooner."""
SOURCE_LEAST, SOURCE_MOST = 0.8, 1.15
"""A known source reads so many times what is stated of it: a fresh 9 V block 9.6 V, a used one 7.5 V.
Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guarded:
    """What must be dead while a step is at hand.

    Attributes:
        limit: V that still count as dead.
        source: V of the known source that it is proved with.
        instruments: whose volts are listened to; none: all.
    """

    limit: float
    source: float
    instruments: frozenset[str] = frozenset()


class LiveGuard:
    """Volts above a dead step's limit that are not those of its known source, one display's.

    `limit` and `source` are the step's own, V. Alternating pick-up of leads in the air is no live
    point, however low the limit. A source above the limit can't be told from points that stand at its
    volts: that is the proof's to refuse.
    """

    def __init__(self, limit: float, source: float) -> None:
        self._limit, self._source = limit, abs(source)
        self._run: deque[Sample] = deque()
        self._over: deque[Sample] = deque()
        self._told = False

    def take(self, sample: Sample) -> Live | None:
        """Take a reading; the live point that it makes certain, once for each contact."""
        form = sample.reading.form
        if form.quantity != "voltage" or is_frozen(form.flags):
            self._clear()
        elif form.bound is not None:
            return self._bound(sample)
        elif sample.reading.value is not None:
            return self._volts(sample)
        return None

    def _clear(self) -> None:
        self._run.clear()
        self._over.clear()
        self._told = False

    def _volts(self, sample: Sample) -> Live | None:
        size = _size(sample)
        self._over.clear()
        if size <= max(self._limit, STRAY_VOLTS[sample.reading.form.mode]) or is_source(sample.reading, self._source):
            self._clear()
            return None
        self._run.append(sample)
        if self._told or not (self._stands() or self._stays(self._run, ABOVE_S)):
            return None
        self._told = True
        highest = max(self._run, key=_size)
        return Live(_size(highest), f"{highest.reading.digits} {highest.reading.form.unit}")

    def _bound(self, sample: Sample) -> Live | None:
        if self._over and self._over[-1].reading.form != sample.reading.form:
            self._over.clear()
        self._over.append(sample)
        if self._told or not self._stays(self._over, OVER_RANGE_S):
            return None
        self._told = True
        edge = sample.reading.edge
        return Live(edge or self._limit, "over the meter's range")

    def _stands(self) -> bool:
        """Whether the last half second's readings agree."""
        sizes: list[float] = []
        for sample in reversed(self._run):
            sizes.append(_size(sample))
            if self._run[-1].at - sample.at >= LIVE_S:
                return max(sizes) - min(sizes) <= LIVE_STILL * max(sizes)
        return False

    @staticmethod
    def _stays(run: deque[Sample], seconds: float) -> bool:
        return len(run) >= 3 and run[-1].at - run[0].at >= seconds


def is_source(reading: Reading, source: float) -> bool:
    """Whether volts may be those of a known source, of which `source` is stated, V."""
    if reading.value is None:
        return False
    return SOURCE_LEAST * source <= abs(reading.value) <= SOURCE_MOST * source


def _size(sample: Sample) -> float:
    assert sample.reading.value is not None, "only numbers come here"
    return abs(sample.reading.value)
