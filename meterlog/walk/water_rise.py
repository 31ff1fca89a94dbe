"""A temperature that stands, rises and stands again: what a heating step and a switch found by slope both watch."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.walk.settle import Sort

if TYPE_CHECKING:
    from meterlog.walk.settle import Sample

RISE_K = 3.0
"""A rise that is no draught and no hand on the probe."""


class Rise:
    """Keeps the readings, the lowest, and when the last new height was found."""

    def __init__(self) -> None:
        self.samples: list[Sample] = []
        self.lowest, self.highest, self.highest_at = float("inf"), float("-inf"), 0.0

    def add(self, sample: Sample, sort: Sort) -> bool:
        """Whether the reading is a temperature, and is kept."""
        value = sample.reading.value
        if sort in (Sort.OTHER, Sort.FROZEN) or value is None:
            return False
        self.samples.append(sample)
        if value < self.lowest:  # what was higher before it is no rise
            self.lowest, self.highest, self.highest_at = value, value, sample.at
        if value > self.highest + 2 * sample.reading.form.resolution:
            self.highest, self.highest_at = value, sample.at
        return True

    @property
    def has_risen(self) -> bool:
        return self.highest - self.lowest >= RISE_K

    def is_over(self, at: float, after_s: float) -> bool:
        """It rose, and found no new height for so long, s."""
        return self.has_risen and at - self.highest_at >= after_s
