"""One verdict, top to bottom: question, rule and source, capture, budget, arithmetic, stamp, bytes."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

from datasette.utils.asgi import NotFound

from meterlog.base import units
from meterlog.files import places
from meterlog.judging.limit import MARKS
from meterlog.web import procedures, queries, wording
from meterlog.web.explained import explain
from meterlog.web.recompute import recompute
from meterlog.web.runs import heating_run
from meterlog.web.sheet import database_path, number_of, read, sheet

if TYPE_CHECKING:
    from pathlib import Path

    from meterlog.store.sqlite import Connection

FRAMES_SHOWN = 60


async def page(datasette: Any, request: Any) -> Any:
    number = number_of(request)
    found = await read(datasette, reached_from, number)
    if found is None:
        raise NotFound(f"There is no verdict {number}.")
    again = await read(datasette, recompute, number) if request.args.get("recompute") else None
    written = found["texts"].get("procedure")
    command = judge_again(found["verdict"]["job_ref"], written["name"] if written else "", database_path(datasette))
    return await sheet(
        datasette, request, "verdict.html", recomputed=again, frames_shown=FRAMES_SHOWN, command=command, **found
    )


def judge_again(ref: str, procedure: str, db: Path) -> list[str]:
    """What is typed to see what a job comes to now, option by option; nothing is kept by it, and no page writes."""
    options = [("--job", ref)]
    options += [("--procedure", procedure)] if procedure else []
    options += [("--db", str(db))] if db != places.database() else []
    return ["meterlog evaluate", *map(shlex.join, options)]


def reached_from(db: Connection, number: int) -> dict[str, Any] | None:
    """Everything a verdict was reached from; None when there is no such verdict."""
    verdict = queries.verdict(db, number)
    if verdict is None:
        return None
    capture = queries.capture(db, verdict["capture"]) if verdict["capture"] is not None else None
    readings = queries.readings_around(db, capture) if capture else []
    texts = {name: queries.text(db, verdict[name]) for name in ("procedure", "profile", "facts") if verdict[name]}
    written = texts.get("procedure")
    procedure = procedures.read(verdict["procedure"], written["body"]) if written else None
    frames = [row for row in readings if row["inside"]]
    profile = texts.get("profile")
    return {
        "verdict": verdict,
        "result": verdict["result"],
        "step": procedures.step(procedure, verdict["step_key"]),
        "capture": capture,
        "run": heating_run(db, number, verdict["kind"], verdict["step_key"]),
        "si": units.QUANTITIES[capture["form"].quantity].si if capture else "",
        "how": wording.HOW,
        "marks": MARKS,
        "readings": readings,
        "frames": frames,
        "explained": explain(db, profile["body"], frames[0]) if profile and frames else [],
        "texts": texts,
        "seal": queries.seal_of(db, verdict["job"], "verdict", number),
    }
