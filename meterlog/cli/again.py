"""Concluding a kept job again, from the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from meterlog.daemon.client import answers, ask
from meterlog.daemon.clock import Clock
from meterlog.files.procedures import procedure_of
from meterlog.record.rejudge import concluded_again, supersede, under
from meterlog.store.reader import reading
from meterlog.store.writer import Writer


def conclude_again(db: Path, ref: str, changes: dict[str, Any], reason: str) -> list[dict[str, Any]]:
    """What a kept job comes to now under another `procedure`, `where` or `rule` ("" for its own), where that differs.

    With a reason it is kept: the daemon is asked; where none runs, this process is the writer for a moment.
    """
    if reason and answers(db):
        answer = ask(db, "conclude again", who="command line", job=ref, reason=reason, **changes)
        rows: list[dict[str, Any]] = answer["concluded"]
        return rows
    procedure = procedure_of(changes["procedure"]) if changes["procedure"] else None
    with reading(db) as reader:
        kept = under(reader, ref, procedure=procedure, where=changes["where"], rule=changes["rule"])
        found = concluded_again(reader, kept)
        if found and reason:
            now = Clock().now()
            writer = Writer(db, now)
            supersede(writer, kept, found, reason, now, "command line", "command line")
            writer.close(now)
    return [again.as_row() for again in found]
