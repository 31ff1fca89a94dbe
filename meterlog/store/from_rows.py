"""Rows of a bench's SQLite as the record's types."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Bound, Capture, Form, Reading, Timing, Typed
from meterlog.record.kept import (
    ActRecord,
    CaptureRecord,
    ChunkRecord,
    CommitId,
    InstrumentRecord,
    JobRecord,
    ReadingRecord,
    VerdictRecord,
)

if TYPE_CHECKING:
    from collections.abc import Mapping


def form(row: Mapping[str, Any]) -> Form:
    """The form of a row of the table `form`."""
    return Form(
        channel=row["channel"],
        quantity=row["quantity"],
        mode=row["mode"],
        unit=row["unit"],
        scale=row["scale"],
        offset=row["offset"],
        decimals=row["decimals"],
        width=row["width"],
        negative_zero=bool(row["negative_zero"]),
        bound=Bound(row["bound"]) if row["bound"] else None,
        flags=tuple(row["flags"].split(", ")) if row["flags"] else (),
        range=row["range"],
        range_top=row["range_top"],
    )


def commit_id(row: Any) -> CommitId | None:
    return None if row["commit_number"] is None else CommitId(row["bench"], row["commit_number"])


def job_record(row: Any) -> JobRecord:
    return JobRecord(
        id=row["id"],
        ref=row["ref"],
        appliance=row["appliance"],
        procedure=row["procedure"],
        procedure_name=row["procedure_name"] or "",
        plate=json.loads(row["plate"]),
        digests=tuple(json.loads(row["digests"])),
        opened_utc_ms=row["opened_utc_ms"],
        closed_utc_ms=row["closed_utc_ms"],
        commit=commit_id(row),
    )


def capture_record(row: Any, form: Form) -> CaptureRecord:
    return CaptureRecord(
        id=row["id"],
        job=row["job"],
        step=row["step"],
        capture=Capture(
            form=form,
            counts=row["counts"],
            count=row["count"],
            spread=row["spread"],
            deviation=row["deviation"],
            started=row["started"] / 1000.0,
            ended=row["ended"] / 1000.0,
            first=row["first_reading"],
            last=row["last_reading"],
            how=row["how"],
            proof=tuple((first, last) for first, last in json.loads(row["proof"])),
            timing=_timing(*json.loads(row["timing"])) if row["timing"] else None,
            typed=_typed(row["typed"]),
        ),
        link=row["link"],
        instrument=None if row["link"] is None else instrument_record(row),
        opened_utc_ms=row["opened_utc_ms"],
        commit=commit_id(row),
    )


def instrument_record(row: Any) -> InstrumentRecord:
    return InstrumentRecord(name=row["name"], profile=row["profile"], facts=row["facts"])


def chunk_record(row: Any) -> ChunkRecord:
    return ChunkRecord(
        id=row["id"],
        link=row["link"],
        job=row["job"],
        step=row["step"],
        at=row["at"],
        first_reading=row["first_reading"],
        readings=row["readings"],
        raw=bytes(row["raw"]),
        instrument=instrument_record(row),
    )


def reading_record(row: Any, form: Form) -> ReadingRecord:
    return ReadingRecord(
        id=row["id"],
        chunk=row["chunk"],
        utc_ms=row["utc_ms"],
        at=row["at"],
        reading=Reading(form, row["counts"]),
        place=row["place"],
        frame=bytes(row["frame"]),
    )


_VERDICT_COLUMNS = (
    "id", "job", "step", "capture", "outcome", "why", "result", "context", "procedure", "profile", "facts", "program",
    "supersedes", "reason", "at_utc_ms",
)  # fmt: skip
_ACT_COLUMNS = ("id", "kind", "at_utc_ms", "monotonic_ms", "boot", "job", "step", "link", "who", "whence")


def verdict_record(row: Any) -> VerdictRecord:
    return VerdictRecord(**{name: row[name] for name in _VERDICT_COLUMNS}, commit=commit_id(row))


def act_record(row: Any) -> ActRecord:
    columns = {name: row[name] for name in _ACT_COLUMNS}
    return ActRecord(**columns, facts=json.loads(row["facts"]), commit=commit_id(row))


def _typed(facts: str | None) -> Typed | None:
    """What was typed, from the facts of its act."""
    if facts is None:
        return None
    kept = json.loads(facts)
    return Typed(words=kept["words"], instrument=kept["instrument"], accuracy=kept["accuracy"])


def _timing(started: float, stopped: float, of_start: float, of_stop: float, immersed: Any = ()) -> Timing:
    return Timing(started, stopped, of_start, of_stop, tuple((load, at) for load, at in immersed))
