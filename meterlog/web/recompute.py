"""A verdict reached again from its bytes, for the page: what the audit does, for one."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import MeterlogError
from meterlog.record.audit import capture_differs, readings_of, redecode, verdict_differs
from meterlog.store.revisit import Revisit

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputed:
    """What came of it: what differs, in words; or why it could not be done."""

    frames: int = 0
    captures: int = 0
    differs: tuple[str, ...] = ()
    failed: str = ""


def recompute(db: Connection, number: int) -> Recomputed:
    """Decode the bytes of every capture that a verdict rests on, compare, and conclude anew."""
    revisit = Revisit(db)
    row = dict(
        db.execute("SELECT v.*, s.key FROM verdict v JOIN step s ON s.id = v.step WHERE v.id = ?", [number]).fetchone()
    )
    try:
        numbers = sorted(set(json.loads(row["context"])["captures"].values()))
        frames, differs = 0, []
        for capture in numbers:
            seen, found = _capture_again(db, revisit, capture)
            frames += seen
            differs += found
        case = revisit.case(row)
        differs += verdict_differs(row["result"], case, case.procedure.step(row["key"]), row["program"])
    except (MeterlogError, KeyError, ValueError) as error:
        return Recomputed(failed=f"{type(error).__name__}: {error}".splitlines()[0])
    return Recomputed(frames=frames, captures=len(numbers), differs=tuple(differs))


def _capture_again(db: Connection, revisit: Revisit, number: int) -> tuple[int, list[str]]:
    """(readings decoded, differences) of one capture."""
    row = dict(db.execute("SELECT * FROM capture WHERE id = ?", [number]).fetchone())
    if row["link"] is None:
        return 0, []
    differs, decoded = [], 0
    for chunk in _chunks_of(db, row["link"], row["first_reading"], row["last_reading"]):
        now = list(readings_of(redecode(revisit.profile(chunk["profile"]), revisit.pieces(chunk))))
        decoded += len(now)
        if now != revisit.readings(chunk):
            differs.append(f"capture {number}: the bytes of chunk {chunk['id']} decode differently")
    form = revisit.forms[row["form"]]
    run = revisit.run(row["link"], row["first_reading"], row["last_reading"])
    said = capture_differs(revisit.capture(row), [r for _, r in run if r.form.channel == form.channel])
    return decoded, [*differs, *([f"capture {number} {said}"] if said else [])]


def _chunks_of(db: Connection, link: int, first: int, last: int) -> list[dict[str, Any]]:
    """The chunks of a link that hold the readings between two ids."""
    rows = db.execute(
        "SELECT c.*, i.profile FROM chunk c JOIN link l ON l.id = c.link JOIN instrument i ON i.id = l.instrument "
        "WHERE c.link = ? AND c.id BETWEEN (SELECT chunk FROM reading WHERE id = ?) "
        "AND (SELECT chunk FROM reading WHERE id = ?) ORDER BY c.id",
        [link, first, last],
    )
    return [dict(row) for row in rows]
