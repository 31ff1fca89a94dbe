"""What one instrument read within a job, for steps that are concluded from a whole run: 32 bytes a reading."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING

from meterlog.base.readings import Reading

if TYPE_CHECKING:
    from meterlog.base.readings import Form

MOST_READINGS = 100_000
"""Readings of one source remembered: a heating run of nearly seven hours at four a second."""

NO_COUNTS = -(2**63)

Run = tuple[tuple[float, Reading], ...]
"""(time in s, reading) in order."""


class RunLog:
    """Readings by ordinal; the oldest quarter is forgotten when there are too many."""

    def __init__(self, most: int = MOST_READINGS) -> None:
        self._most = most
        self._ordinals, self._times, self._counts = array("q"), array("d"), array("q")
        self._forms: list[Form] = []

    def __len__(self) -> int:
        return len(self._forms)

    def add(self, ordinal: int, at: float, reading: Reading) -> None:
        """Remember a reading; ordinals rise."""
        if len(self) >= self._most:
            for column in (self._ordinals, self._times, self._counts, self._forms):
                del column[: self._most // 4]
        self._ordinals.append(ordinal)
        self._times.append(at)
        self._counts.append(NO_COUNTS if reading.counts is None else reading.counts)
        self._forms.append(reading.form)

    def between(self, first: int, last: int) -> Run:
        """The readings with these ordinals and those between them, as far as they are remembered."""
        return self._run(bisect_left(self._ordinals, first), bisect_right(self._ordinals, last))

    def during(self, started: float, ended: float) -> Run:
        """The readings of a span of time, s, its ends included."""
        return self._run(bisect_left(self._times, started), bisect_right(self._times, ended))

    def _run(self, begin: int, end: int) -> Run:
        columns = zip(self._times[begin:end], self._forms[begin:end], self._counts[begin:end], strict=True)
        return tuple((at, Reading(form, None if counts == NO_COUNTS else counts)) for at, form, counts in columns)
