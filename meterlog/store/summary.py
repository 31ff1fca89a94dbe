"""Ten seconds of a channel in one row, for pages that draw an hour: derived from readings, and may be made again."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.base.readings import Form

SUMMARY_MS = 10_000
"""Length of a summary's slot."""


@dataclass(slots=True)
class Summary:
    """The readings of one channel and quantity within a slot; `low` and `high` in SI, None for bounds alone."""

    first: int
    last: int
    count: int = 0
    low: float | None = None
    high: float | None = None

    def take(self, last: int, count: int, values: Sequence[float]) -> None:
        self.last, self.count = last, self.count + count
        if values:
            self.low = min(values) if self.low is None else min(self.low, *values)
            self.high = max(values) if self.high is None else max(self.high, *values)


class Summaries:
    """The summaries of one link's slot, by channel and quantity: a dial may be turned away and back."""

    def __init__(self, link: int) -> None:
        self._link = link
        self._slot = 0
        self._open: dict[tuple[str, str], Summary] = {}

    def take(self, readings: Sequence[tuple[Any, ...]], forms: Mapping[int, Form]) -> list[tuple[Any, ...]]:
        """Count reading rows in order; answers the rows of the slots that have ended."""
        ended = []
        for (number, slot), run in groupby(readings, key=_form_and_slot):
            if slot != self._slot:
                ended += self.end()
                self._slot = slot
            rows, form = list(run), forms[number]
            summary = self._open.setdefault((form.channel, form.quantity), Summary(rows[0][0], rows[0][0]))
            summary.take(rows[-1][0], len(rows), _extremes(form, rows))
        return ended

    def end(self) -> list[tuple[Any, ...]]:
        """The rows of the slot at hand, which is over."""
        rows = [
            (self._link, channel, self._slot, quantity, s.first, s.last, s.count, s.low, s.high)
            for (channel, quantity), s in self._open.items()
        ]
        self._open.clear()
        return rows


def _form_and_slot(row: tuple[Any, ...]) -> tuple[int, int]:
    return row[3], row[2] - row[2] % SUMMARY_MS


def _extremes(form: Form, rows: Sequence[tuple[Any, ...]]) -> list[float]:
    """The smallest and largest value of rows of one form, SI; nothing for bounds and blanks."""
    counts = [row[4] for row in rows if row[4] is not None]
    if form.bound or not counts:
        return []
    return [value for value in (form.value(min(counts)), form.value(max(counts))) if value is not None]
