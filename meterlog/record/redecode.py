"""History read again by another profile: which readings would differ. Nothing kept is touched."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from meterlog.base.errors import CannotDo
from meterlog.base.readings import Reading
from meterlog.base.source import near_miss
from meterlog.profile.tools.bulk import decode_bulk

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meterlog.base.readings import Form
    from meterlog.profile import Profile
    from meterlog.record.kept import ConversationRecord
    from meterlog.record.reader import RecordReader

ReadingKey = tuple[int, int]
"""Which reading of a stream: where its frame starts, and which of the frame's readings it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One reading that comes out otherwise; `start` is its frame's place in the conversation's stream, `number` the
    kept one's, None where there was none."""

    start: int
    number: int | None
    before: Reading | None
    now: Reading | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversationAgain:
    """One conversation read again.

    Attributes:
        links: (place where it begins in the stream, number) of each link that it was kept under.
        kept, now: how many readings it has, as kept and by the profile.
        numbers, starts, times: of the kept readings: ids, places in the stream, ms of the machine's clock.
        anew: place in the stream and reading, of all readings by the profile.
    """

    links: tuple[tuple[int, int], ...]
    kept: int
    now: int
    differences: tuple[Difference, ...]
    numbers: Any
    starts: Any
    times: Any
    anew: Anew

    def by_link(self) -> dict[int, list[tuple[int, int | None, Reading | None]]]:
        """The differences of each link: place in the link's bytes, number of the kept reading, reading now."""
        found: dict[int, list[tuple[int, int | None, Reading | None]]] = {}
        for each in self.differences:
            begun, link = max(place for place in self.links if place[0] <= each.start)
            found.setdefault(link, []).append((each.start - begun, each.number, each.now))
        return found

    def run(self, first: int, last: int) -> tuple[list[tuple[int, Reading]], bool]:
        """(time in ms, reading now) of the bytes of the kept readings `first` to `last`; whether one differs."""
        begin, end = np.searchsorted(self.numbers, first), np.searchsorted(self.numbers, last, "right")
        if begin == end:
            return [], False
        low, high = int(self.starts[begin]), int(self.starts[end - 1])
        places = range(np.searchsorted(self.anew.start, low), np.searchsorted(self.anew.start, high, "right"))
        came = np.searchsorted(self.starts, self.anew.start[places.start : places.stop], "right") - 1
        run = [(int(self.times[at]), self.anew.reading(place)) for place, at in zip(places, came, strict=True)]
        at = bisect_left(self.differences, low, key=lambda each: each.start)
        return run, at < len(self.differences) and self.differences[at].start <= high


class Anew(NamedTuple):
    """A link's readings by another profile, as arrays; `forms` by the numbers in `form`."""

    start: Any
    form: Any
    counts: Any
    forms: Mapping[int, Form]

    def reading(self, place: int) -> Reading:
        return _reading(self.forms, self.form[place], self.counts[place])


def conversations_of(reader: RecordReader, instrument: str) -> list[ConversationRecord]:
    """The conversations with an instrument, oldest first. Raises: CannotDo when there is no such instrument."""
    found = reader.conversations(instrument)
    if not found:
        hint = near_miss(instrument, reader.instruments())
        raise CannotDo(f"nothing is kept of an instrument {instrument!r}", hint)
    return found


def read_again(reader: RecordReader, conversation: ConversationRecord, profile: Profile) -> ConversationAgain:
    """What a conversation left in the record by another profile, against what was kept."""
    chunks = reader.chunks(conversation)
    begun = list(accumulate((len(chunk.raw) for chunk in chunks), initial=0))
    base = {chunk.id: place for chunk, place in zip(chunks, begun, strict=False)}
    of_link = {link: [base[chunk.id] for chunk in chunks if chunk.link == link] for link in conversation.links}
    start, times, number, form, counts = _kept(reader, conversation, base)
    bulk = decode_bulk(profile, list(reader.timeline(chunks)))
    new_start, new_form, forms = bulk.start, bulk.form, bulk.forms
    new_counts = np.where(bulk.has_counts, bulk.counts, _NO_COUNTS)
    known = {f: n for n, f in reader.forms.items()}
    new_form = np.array([known.get(f, -1 - n) for n, f in enumerate(forms)], np.int64)[new_form] if forms else new_form
    if len(start) == len(new_start) and np.array_equal(start, new_start):
        changed = np.flatnonzero((form != new_form) | (counts != new_counts)).tolist()
        pairs: list[tuple[int | None, int | None]] = [(k, k) for k in changed]
    else:
        pairs = list(_unequal(_keyed(start), _keyed(new_start), (form, counts), (new_form, new_counts)))
    by_number = {**reader.forms, **{-1 - n: f for n, f in enumerate(forms)}}
    anew = Anew(new_start, new_form, new_counts, by_number)
    differences = tuple(
        Difference(
            start=int(start[old]) if old is not None else int(new_start[new]) if new is not None else 0,
            number=int(number[old]) if old is not None else None,
            before=_reading(by_number, form[old], counts[old]) if old is not None else None,
            now=anew.reading(new) if new is not None else None,
        )
        for old, new in pairs
    )
    return ConversationAgain(
        links=tuple((min(places), link) for link, places in of_link.items() if places),
        kept=len(start),
        now=len(new_start),
        differences=differences,
        numbers=number,
        starts=start,
        times=times,
        anew=anew,
    )


_NO_COUNTS = -(2**62)


def _reading(forms: Mapping[int, Form], form: Any, counts: Any) -> Reading:
    return Reading(forms[int(form)], None if counts == _NO_COUNTS else int(counts))


def _kept(reader: RecordReader, kept: ConversationRecord, base: Mapping[int, int]) -> tuple[Any, Any, Any, Any, Any]:
    """Start, time in ms of the machine's clock, number, form and counts of the kept readings, as arrays."""
    rows = list(reader.places(kept))
    start = np.array([base[chunk] + place for chunk, place, *_ in rows], np.int64)
    times, number, form = (np.array([row[column] for row in rows], np.int64) for column in (5, 2, 3))
    counts = np.array([row[4] if row[4] is not None else _NO_COUNTS for row in rows], np.int64)
    return start, times, number, form, counts


def _keyed(start: Any) -> dict[ReadingKey, int]:
    """Each reading's place in the arrays by its key."""
    keyed: dict[ReadingKey, int] = {}
    ordinal, before = 0, -1
    for place, at in enumerate(start.tolist()):
        ordinal = ordinal + 1 if at == before else 0
        keyed[at, ordinal] = place
        before = at
    return keyed


def _unequal(
    kept: dict[ReadingKey, int], new: dict[ReadingKey, int], old_values: tuple[Any, Any], new_values: tuple[Any, Any]
) -> Iterator[tuple[int | None, int | None]]:
    """Places in both arrays of the readings that differ, in the order of the stream."""
    for key in sorted({*kept, *new}):
        old, now = kept.get(key), new.get(key)
        same = (
            old is not None
            and now is not None
            and all(a[old] == b[now] for a, b in zip(old_values, new_values, strict=True))
        )
        if not same:
            yield old, now
