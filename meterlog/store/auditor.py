"""The whole audit of a database: its file, its seals, its texts, and everything reached again."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from meterlog.audit import capture_differs, readings_of, redecode, verdict_differs
from meterlog.store.evidence import Finding, check_file, check_rereads, check_seals, check_texts
from meterlog.store.revisit import Revisit

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meterlog.store.sqlite import Connection


class Checked(NamedTuple):
    """How much was looked at."""

    seals: int
    readings: int
    captures: int
    verdicts: int


def audit(db: Connection) -> Iterator[Finding]:
    """Everything that differs from what was sealed, decoded, captured or concluded."""
    checks: list[Callable[[Connection], Iterator[Finding]]] = [check_file, check_seals, check_rereads, check_texts]
    for check in checks:
        yield from check(db)
    revisit = Revisit(db)
    yield from _check_readings(revisit)
    yield from _check_captures(revisit)
    yield from _check_verdicts(db, revisit)


def checked(db: Connection) -> Checked:
    """The counts of what an audit looks at."""
    return Checked(
        *(db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in ("seal", "reading", "capture", "verdict"))
    )


def _check_readings(revisit: Revisit) -> Iterator[Finding]:
    for chunk in revisit.chunks():
        outcomes = redecode(revisit.profile(chunk["profile"]), revisit.pieces(chunk))
        now, kept = list(readings_of(outcomes)), revisit.readings(chunk)
        if now != kept:
            differing = sum(a != b for a, b in zip(now, kept, strict=False)) + abs(len(now) - len(kept))
            yield Finding(
                where=f"chunk {chunk['id']}", what=f"{differing} readings of {chunk['name']} decode differently"
            )


def _check_captures(revisit: Revisit) -> Iterator[Finding]:
    for row in revisit.capture_rows():
        run = revisit.run(row["link"], row["first_reading"], row["last_reading"])
        form = revisit.forms[row["form"]]
        same = [reading for _, reading in run if reading.form.channel == form.channel]
        differs = capture_differs(revisit.capture(row), same)
        if differs:
            yield Finding(where=f"capture {row['id']}", what=differs)


def _check_verdicts(db: Connection, revisit: Revisit) -> Iterator[Finding]:
    rows = db.execute("SELECT v.*, s.key FROM verdict v JOIN step s ON s.id = v.step ORDER BY v.id")
    for row in rows:
        case = revisit.case(row)
        for differs in verdict_differs(row["result"], case, case.procedure.step(row["key"])):
            yield Finding(where=f"verdict {row['id']}", what=differs)
