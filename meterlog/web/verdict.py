"""One verdict, top to bottom: question, rule and source, capture, budget, arithmetic, stamp, bytes."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

from datasette.utils.asgi import NotFound

from meterlog.files import places
from meterlog.report import healthy
from meterlog.report.reached import reached_from
from meterlog.report.wording import fields_of
from meterlog.web.recompute import recompute
from meterlog.web.sheet import database_path, number_of, read, sheet

if TYPE_CHECKING:
    from pathlib import Path

    from meterlog.record.reader import RecordReader
    from meterlog.report.healthy import LikeIt
    from meterlog.report.reached import Reached

FRAMES_SHOWN = 60


async def page(datasette: Any, request: Any) -> Any:
    number = number_of(request)
    found = await read(datasette, reached_from, number)
    if found is None:
        raise NotFound(f"There is no verdict {number}.")
    alike = await read(datasette, _alike, found)
    again = await read(datasette, recompute, number) if request.args.get("recompute") else None
    written = found.texts.get("procedure")
    command = judge_again(found.job.ref, written.name if written else "", database_path(datasette))
    return await sheet(
        datasette, request, "verdict.html", recomputed=again, alike=alike, frames_shown=FRAMES_SHOWN, command=command,
        **fields_of(found),
    )  # fmt: skip


def _alike(reader: RecordReader, found: Reached) -> LikeIt | None:
    """What healthy ones of the model read before what a verdict rests on."""
    return healthy.of_capture(reader, found.step.key, found.job.appliance, found.capture.id) if found.capture else None


def judge_again(ref: str, procedure: str, db: Path) -> list[str]:
    """What is typed to see what a job comes to now, option by option; nothing is kept by it, and no page writes."""
    options = [("--job", ref)]
    options += [("--procedure", procedure)] if procedure else []
    options += [("--db", str(db))] if db != places.database() else []
    return ["meterlog evaluate", *map(shlex.join, options)]
