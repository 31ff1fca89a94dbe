"""The whole audit of a database: its file, its seals, its texts, and everything reached again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from meterlog.record.audit import capture_differs, readings_of, redecode, verdict_differs
from meterlog.store.evidence import Finding, check_file, check_rereads, check_seals, check_texts
from meterlog.store.revisit import Revisit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meterlog.store.sqlite import Connection


class Checked(NamedTuple):
    """How much was looked at."""

    seals: int
    readings: int
    captures: int
    verdicts: int


def audit(db: Connection) -> Iterator[Finding]:
    """Everything that differs from what was sealed, decoded, captured or concluded."""
    for check in (check_file, check_seals, check_rereads, check_texts):
        yield from _as_far_as_it_goes(check.__name__.removeprefix("check_"), check(db))
    revisit = Revisit(db)
    checks = {
        "steps": _check_steps,
        "readings": _check_readings,
        "captures": _check_captures,
        "verdicts": _check_verdicts,
    }
    for where, again in checks.items():
        yield from _as_far_as_it_goes(where, again(db, revisit))


def _as_far_as_it_goes(where: str, found: Iterable[Finding]) -> Iterator[Finding]:
    """What a check finds; and, where rows are so changed that it can't go on, that."""
    try:
        yield from found
    except Exception as error:  # rows may have been changed into anything: whatever breaks on them is a finding
        words = str(error).partition("\n")[0]
        yield Finding(where=where, what=f"can't be reached again: {type(error).__name__}, {words}")


def checked(db: Connection) -> Checked:
    """The counts of what an audit looks at."""
    return Checked(
        *(db.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in ("seal", "reading", "capture", "verdict"))
    )


def _check_steps(db: Connection, revisit: Revisit) -> Iterator[Finding]:
    """A job's steps against its procedure, whose hash is sealed."""
    for job in db.execute("SELECT id, ref, procedure FROM job ORDER BY id").fetchall():
        rows = db.execute("SELECT * FROM step WHERE job = ? ORDER BY position", [job["id"]]).fetchall()
        wanted = [step.as_shown for step in revisit.procedure(job["procedure"]).steps]
        if [{name: row[name] for name in wanted[0]} for row in rows] != wanted:
            yield Finding(where=f"job {job['ref']}", what="its steps are not those of its procedure")


def _check_readings(_: Connection, revisit: Revisit) -> Iterator[Finding]:
    for chunk in revisit.chunks():
        yield from _as_far_as_it_goes(f"chunk {chunk['id']}", _chunk_differs(revisit, chunk))


def _chunk_differs(revisit: Revisit, chunk: Mapping[str, Any]) -> Iterator[Finding]:
    outcomes = redecode(revisit.profile(chunk["profile"]), revisit.pieces(chunk))
    now, kept = list(readings_of(outcomes)), revisit.readings(chunk)
    if now != kept:
        differing = sum(a != b for a, b in zip(now, kept, strict=False)) + abs(len(now) - len(kept))
        yield Finding(where=f"chunk {chunk['id']}", what=f"{differing} readings of {chunk['name']} decode differently")


def _check_captures(_: Connection, revisit: Revisit) -> Iterator[Finding]:
    for row in revisit.capture_rows():
        yield from _as_far_as_it_goes(f"capture {row['id']}", _run_differs(revisit, row))


def _run_differs(revisit: Revisit, row: Mapping[str, Any]) -> Iterator[Finding]:
    run = revisit.run(row["link"], row["first_reading"], row["last_reading"])
    form = revisit.forms[row["form"]]
    same = [reading for _, reading in run if reading.form.channel == form.channel]
    differs = capture_differs(revisit.capture(row), same)
    if differs:
        yield Finding(where=f"capture {row['id']}", what=differs)


def _check_verdicts(db: Connection, revisit: Revisit) -> Iterator[Finding]:
    rows = db.execute("SELECT v.*, s.key FROM verdict v JOIN step s ON s.id = v.step ORDER BY v.id")
    for row in map(dict, rows):
        yield from _as_far_as_it_goes(f"verdict {row['id']}", _verdict_differs(revisit, row))


def _verdict_differs(revisit: Revisit, row: Mapping[str, Any]) -> Iterator[Finding]:
    case = revisit.case(row)
    for differs in verdict_differs(row["result"], case, case.procedure.step(row["key"]), row["program"]):
        yield Finding(where=f"verdict {row['id']}", what=differs)
