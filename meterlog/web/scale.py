"""A limit as a band on a line, with room outside as inside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base import units

if TYPE_CHECKING:
    from meterlog.judging.limit import Limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A limit drawn as a band on a line. Ends and limits in SI, places on the line from 0 to 1."""

    first: float
    last: float
    low: float | None
    high: float | None
    low_words: str
    high_words: str

    def place(self, value: float) -> float:
        """Where a value stands, 0 to 1; beyond the ends it stays at the end."""
        return min(max((value - self.first) / (self.last - self.first), 0.0), 1.0)

    @property
    def band(self) -> tuple[float, float]:
        """Where the accepted part begins and ends."""
        return (
            0.0 if self.low is None else self.place(self.low),
            1.0 if self.high is None else self.place(self.high),
        )


def scale_of(limit: Limit | None, si: str) -> Scale | None:
    """The line for a limit, with as much room outside as inside; None when there is nothing to draw."""
    if limit is None or limit.of or limit.is_open or (limit.low is None and limit.high is None):
        return None
    low, high = limit.low, limit.high
    if low is not None and high is not None:
        width = (high - low) or abs(high) or 1.0
        first, last = low - width / 2, high + width / 2
    elif high is not None:
        first, last = min(0.0, 2 * high), max(2 * abs(high), 1e-12)
    else:
        assert low is not None
        first, last = min(0.0, 2 * low), max(3 * abs(low), 1e-12)
    return Scale(
        first=first,
        last=last,
        low=low,
        high=high,
        low_words="" if low is None else units.show(low, si),
        high_words="" if high is None else units.show(high, si),
    )
