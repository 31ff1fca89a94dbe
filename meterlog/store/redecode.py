"""History read again by another profile: what would differ, and which verdicts rest on it. Nothing kept is touched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from meterlog.errors import CannotDo
from meterlog.profile.bulk import decode_bulk
from meterlog.profile.examples import shown
from meterlog.readings import Frame, Reading
from meterlog.source import near_miss
from meterlog.store.revisit import Revisit

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meterlog.profile import Profile
    from meterlog.store.sqlite import Connection

Key = tuple[int, int]
"""Which reading of a stream: where its frame starts, and which of the frame's readings it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One reading that comes out otherwise; `number` is the kept one's, None where there was none."""

    link: int
    start: int
    number: int | None
    before: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkAgain:
    """One link read again."""

    link: int
    kept: int
    now: int
    differences: tuple[Difference, ...]


def links_of(db: Connection, instrument: str) -> list[int]:
    """The links of an instrument, oldest first. Raises: CannotDo when there is no such instrument."""
    rows = db.execute(
        "SELECT l.id FROM link l JOIN instrument i ON i.id = l.instrument WHERE i.name = ? ORDER BY l.id", [instrument]
    ).fetchall()
    if not rows:
        names = [name for (name,) in db.execute("SELECT DISTINCT name FROM instrument")]
        raise CannotDo(f"nothing is kept of an instrument {instrument!r}", near_miss(instrument, names))
    return [number for (number,) in rows]


def read_again(db: Connection, link: int, profile: Profile) -> LinkAgain:
    """A link's kept bytes by another profile, against what was kept."""
    revisit = Revisit(db)
    chunks = [chunk for chunk in revisit.chunks() if chunk["link"] == link]
    base, place = {}, 0
    for chunk in chunks:
        base[chunk["id"]] = place
        place += len(chunk["raw"])
    start, number, form, counts = _kept(db, link, base)
    new_start, new_form, new_counts, forms = _anew(revisit, chunks, profile)
    known = {f: n for n, f in revisit.forms.items()}
    new_form = np.array([known.get(f, -1 - n) for n, f in enumerate(forms)], np.int64)[new_form] if forms else new_form
    if len(start) == len(new_start) and np.array_equal(start, new_start):
        changed = np.flatnonzero((form != new_form) | (counts != new_counts)).tolist()
        pairs: list[tuple[int | None, int | None]] = [(k, k) for k in changed]
    else:
        pairs = list(_unequal(_keyed(start), _keyed(new_start), (form, counts), (new_form, new_counts)))
    by_number = {**revisit.forms, **{-1 - n: f for n, f in enumerate(forms)}}

    def words(forms_: Any, counts_: Any, at: int | None) -> str:
        if at is None:
            return "nothing"
        figure = int(counts_[at])
        return shown(Reading(by_number[int(forms_[at])], None if figure == _NO_COUNTS else figure))

    differences = tuple(
        Difference(
            link=link,
            start=int(start[old]) if old is not None else int(new_start[new]) if new is not None else 0,
            number=int(number[old]) if old is not None else None,
            before=words(form, counts, old),
            now=words(new_form, new_counts, new),
        )
        for old, new in pairs
    )
    return LinkAgain(link=link, kept=len(start), now=len(new_start), differences=differences)


_NO_COUNTS = -(2**62)


def _kept(db: Connection, link: int, base: Mapping[int, int]) -> tuple[Any, Any, Any, Any]:
    """Start, number, form and counts of a link's kept readings, as arrays."""
    rows = db.execute(
        "SELECT r.chunk, r.place, r.id, r.form, r.counts FROM chunk c JOIN reading r "
        "ON r.id BETWEEN c.first_reading AND c.first_reading + c.readings - 1 WHERE c.link = ? ORDER BY r.id",
        [link],
    ).fetchall()
    start = np.array([base[chunk] + place for chunk, place, *_ in rows], np.int64)
    number, form = (np.array([row[column] for row in rows], np.int64) for column in (2, 3))
    counts = np.array([row[4] if row[4] is not None else _NO_COUNTS for row in rows], np.int64)
    return start, number, form, counts


def _anew(revisit: Revisit, chunks: list[dict[str, Any]], profile: Profile) -> tuple[Any, Any, Any, tuple[Any, ...]]:
    """Start, form, counts and the forms of a link's bytes by the profile; what was asked counts where it matters."""
    if not profile.polled:
        bulk = decode_bulk(profile, b"".join(bytes(chunk["raw"]) for chunk in chunks))
        counts = np.where(bulk.has_counts, bulk.counts, _NO_COUNTS)
        return bulk.start, bulk.form, counts, bulk.forms
    talk, found = profile.talk(), []
    for chunk in chunks:
        for piece in revisit.pieces(chunk):
            if piece.is_sent:
                talk.sent(piece.raw, piece.at)
            else:
                found += talk.feed(piece.raw, piece.at)
    found += talk.end()
    flat = [(o.start, reading) for o in found if isinstance(o, Frame) for reading in o.readings]
    forms = {reading.form: None for _, reading in flat}
    places = {form: place for place, form in enumerate(forms)}
    start = np.array([at for at, _ in flat], np.int64)
    form = np.array([places[reading.form] for _, reading in flat], np.int64)
    counts = np.array([r.counts if r.counts is not None else _NO_COUNTS for _, r in flat], np.int64)
    return start, form, counts, tuple(forms)


def _keyed(start: Any) -> dict[Key, int]:
    """Each reading's place in the arrays by its key."""
    keyed: dict[Key, int] = {}
    ordinal, before = 0, -1
    for place, at in enumerate(start.tolist()):
        ordinal = ordinal + 1 if at == before else 0
        keyed[at, ordinal] = place
        before = at
    return keyed


def _unequal(
    kept: dict[Key, int], new: dict[Key, int], old_values: tuple[Any, Any], new_values: tuple[Any, Any]
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


def verdicts_on(db: Connection, link: int, numbers: list[int]) -> list[dict[str, Any]]:
    """The verdicts that nothing supersedes and whose capture holds one of these readings."""
    if not numbers:
        return []
    rows = db.execute(
        "SELECT v.id, j.ref, s.key, v.outcome, c.first_reading, c.last_reading FROM verdict v "
        "JOIN capture c ON c.id = v.capture JOIN job j ON j.id = v.job JOIN step s ON s.id = v.step "
        "WHERE c.link = ? AND v.id NOT IN (SELECT supersedes FROM verdict WHERE supersedes IS NOT NULL) ORDER BY v.id",
        [link],
    ).fetchall()
    touched = np.array(sorted(numbers), np.int64)
    found = []
    for verdict, job, step, outcome, first, last in rows:
        if first is not None and np.searchsorted(touched, last, "right") > np.searchsorted(touched, first, "left"):
            found.append({"verdict": verdict, "job": job, "step": step, "outcome": outcome})
    return found
