"""A long stretch of a stream to arrays of readings, for history: equal to frame by frame, many times faster.

Instruments repeat themselves: of a hundred thousand frames few thousand differ. Those are decoded once each,
by the same decoder; the rest is numpy. Where a stream is not plainly one frame after another, or a frame is
rejected in a way that moves where the next begins, the stretch is decoded frame by frame instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Frame
from meterlog.conversation.drive import drive
from meterlog.conversation.framing import Delimited, FixedLength, FrameCandidate
from meterlog.conversation.memory import Memory
from meterlog.conversation.moments import micros

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy as np

    from meterlog.base.readings import Form, Reading
    from meterlog.base.recording import Event
    from meterlog.profile.compile.compiler import Profile

    Ints = np.ndarray[Any, np.dtype[np.int64]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bulk:
    """Readings of a stretch, in the order of the stream.

    Attributes:
        start: of the frame of each reading, its place in the stretch.
        form: of each reading, the number of its form in `forms`.
        counts: of each reading, -1 where it has no digits (see `has_counts`).
        has_counts: whether there are digits.
        forms: every form that came.
    """

    start: Ints
    form: Ints
    counts: Ints
    has_counts: Any
    forms: tuple[Form, ...]


def decode_bulk(profile: Profile, timeline: Sequence[Event]) -> Bulk:
    """All readings of a timeline that begins where a frame may. Needs numpy (the extra `bulk`)."""
    import numpy as np

    plain = profile.steady and not profile.said.stream and not profile.undo and not profile.polled
    data = b"".join(event.data for event in timeline if event.kind == "in") if plain else b""
    spans = _spans(profile, data) if plain else None
    if spans is None or not np.isin(_silences(profile, timeline), spans[0]).all():
        return _one_by_one(profile, timeline)
    starts, ends = spans
    rows = _rows(np.frombuffer(data, np.uint8), starts, ends)
    first, inverse = _distinct(rows)
    if first is None:
        return _one_by_one(profile, timeline)
    decoded: list[tuple[Reading, ...]] = []
    decode, again = profile.decode, profile.framer.again
    for start, end in zip(starts[first].tolist(), ends[first].tolist(), strict=True):
        said = decode(data[start:end], Memory())
        if isinstance(said, str):
            if again(data, FrameCandidate(start, end)) != end:
                return _one_by_one(profile, timeline)
            said = ()
        decoded.append(said)
    return _spread(decoded, inverse, starts)


def _spread(decoded: list[tuple[Reading, ...]], inverse: Ints, starts: Ints) -> Bulk:
    """The readings of every frame from those of each distinct one."""
    import numpy as np

    forms: dict[Form, int] = {}
    form, counts = _columns(decoded, forms)
    number = np.array([len(readings) for readings in decoded], np.int64)
    first = np.concatenate(([0], np.cumsum(number)[:-1])).astype(np.int64)
    each = number[inverse]
    if len(number) and number.min() == number.max() == 1:
        picked = inverse
    else:
        within = np.arange(each.sum()) - np.repeat(np.cumsum(each) - each, each)
        picked = np.repeat(first[inverse], each) + within
    start = starts if picked is inverse else np.repeat(starts, each)
    return Bulk(
        start=start, form=form[picked], counts=counts[picked], has_counts=counts[picked] != _NONE, forms=tuple(forms)
    )


_NONE = -(2**62)


def _columns(decoded: Iterable[tuple[Reading, ...]], forms: dict[Form, int]) -> tuple[Ints, Ints]:
    """Form numbers and counts of readings, side by side."""
    import numpy as np

    flat = [reading for readings in decoded for reading in readings]
    seen: dict[int, int] = {}
    numbers = []
    for reading in flat:
        number = seen.get(id(reading.form))
        if number is None:
            number = seen[id(reading.form)] = forms.setdefault(reading.form, len(forms))
        numbers.append(number)
    counts = [reading.counts if reading.counts is not None else _NONE for reading in flat]
    return np.array(numbers, np.int64), np.array(counts, np.int64)


def _silences(profile: Profile, timeline: Sequence[Event]) -> Any:
    """Places in the stream before which nothing came for so long that a frame there would have been given up."""
    import numpy as np

    came = [event for event in timeline if event.kind == "in" and event.data]
    at = np.array([micros(event.at) for event in came], np.int64)
    place = np.cumsum([len(event.data) for event in came])[:-1] if came else np.empty(0, np.int64)
    return place[np.diff(at) >= micros(profile.patience)]


def _one_by_one(profile: Profile, timeline: Sequence[Event]) -> Bulk:
    """The same, frame by frame."""
    import numpy as np

    frames = [o for o in drive(profile.conversation(), timeline) if isinstance(o, Frame)]
    forms: dict[Form, int] = {}
    form, counts = _columns([frame.readings for frame in frames], forms)
    start = np.array([frame.start for frame in frames for _ in frame.readings], np.int64)
    return Bulk(start=start, form=form, counts=counts, has_counts=counts != _NONE, forms=tuple(forms))


def _spans(profile: Profile, data: bytes) -> tuple[Ints, Ints] | None:
    """Where each frame starts and ends, when the stretch is plainly one after another; else None."""
    import numpy as np

    framer, raw = profile.framer, np.frombuffer(data, np.uint8)
    if isinstance(framer, FixedLength):
        found = framer.find(data, 0)
        if not isinstance(found, FrameCandidate):
            return None
        count = (len(data) - found.start) // framer.length
        block = raw[found.start : found.start + count * framer.length].reshape(count, framer.length)
        for place, allowed in enumerate(framer.classes):
            if allowed is not None and not _table(allowed)[block[:, place]].all():
                return None
        starts = found.start + np.arange(count, dtype=np.int64) * framer.length
        return starts, starts + framer.length
    if isinstance(framer, Delimited) and len(framer.ends) == 1 and len(framer.starts) <= 1 and not framer.behind:
        return _lines(framer, raw)
    return None


def _lines(framer: Delimited, raw: Any) -> tuple[Ints, Ints] | None:
    import numpy as np

    ends = _places(raw, framer.ends[0]) + len(framer.ends[0])
    if not len(ends):
        return None
    starts = np.concatenate(([0], ends[:-1])).astype(np.int64)
    if (ends - starts).max() > framer.longest or (np.diff(ends) < len(framer.ends[0])).any():
        return None
    if framer.starts:
        marks = _places(raw, framer.starts[0])
        if not np.array_equal(marks[marks < ends[-1]], starts):
            return None
    return starts, ends


def _places(raw: Any, mark: bytes) -> Ints:
    """Where a mark stands."""
    import numpy as np

    found = raw[: len(raw) - len(mark) + 1] == mark[0]
    for place, byte in enumerate(mark[1:], start=1):
        found = found & (raw[place : len(raw) - len(mark) + 1 + place] == byte)
    return np.flatnonzero(found).astype(np.int64)


def _table(allowed: frozenset[int]) -> Any:
    import numpy as np

    table = np.zeros(256, bool)
    table[list(allowed)] = True
    return table


def _rows(raw: Any, starts: Ints, ends: Ints) -> Any:
    """Frames as rows of 64-bit words, zeros behind the shorter ones."""
    import numpy as np

    lengths = ends - starts
    width = -(-int(lengths.max()) // 8) * 8
    rows = np.zeros((len(starts), width), np.uint8)
    for length in np.unique(lengths):
        which = np.flatnonzero(lengths == length)
        begin = starts[which]
        steps = np.diff(begin)
        if len(which) == len(starts) and (steps == length).all():
            rows[:, :length] = raw[begin[0] : begin[0] + len(which) * length].reshape(-1, length)
        else:
            rows[which, :length] = raw[begin[:, None] + np.arange(length)]
    return rows.view(np.uint64)


def _distinct(rows: Any) -> tuple[Ints | None, Ints]:
    """The first place of each distinct row, and of every row the number of its like; None when two look alike."""
    import numpy as np

    mixed = np.zeros(len(rows), np.uint64)
    for column in range(rows.shape[1]):
        mixed = (mixed ^ rows[:, column]) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    same = all(np.array_equal(rows[:, column][first][inverse], rows[:, column]) for column in range(rows.shape[1]))
    return (first if same else None), inverse
