"""One capture: its readings drawn with the settled part marked, their digits and bytes, and a CSV of them."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from datasette.utils.asgi import NotFound, Response

from meterlog.base import units
from meterlog.report import healthy, wording
from meterlog.report.runs import plot_of
from meterlog.store import queries
from meterlog.web.sheet import number_of, read, sheet

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection

ROWS_SHOWN = 400
"""Readings in the table of the page; the CSV has all."""


async def page(datasette: Any, request: Any) -> Any:
    found = await read(datasette, _with_readings, number_of(request))
    return await sheet(datasette, request, "capture.html", rows_shown=ROWS_SHOWN, **found)


def _with_readings(db: Connection, number: int) -> dict[str, Any]:
    capture = queries.capture(db, number)
    if capture is None:
        raise NotFound(f"There is no capture {number}.")
    readings = queries.readings_around(db, capture)
    verdicts = [v for v in queries.verdicts_of(db, capture["job"]) if v["capture"] == number]
    seal = queries.seal_of(db, capture["job"], "capture", number)
    return {
        "capture": capture,
        "readings": readings,
        "plot": plot_of(capture, readings),
        "si": units.QUANTITIES[capture["form"].quantity].si,
        "how": wording.HOW,
        "verdicts": verdicts,
        "seal": seal,
        "alike": healthy.of_capture(db, capture["step_key"], capture["appliance"], number),
    }


async def as_csv(datasette: Any, request: Any) -> Any:
    """The readings around a capture with their units, digits as shown."""
    found = await read(datasette, _with_readings, number_of(request))
    capture = found["capture"]
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(["reading", "time_s", "quantity", "bound", "shown", "unit", "in_capture", "frame_hex"])
    for row in found["readings"]:
        form = row["form"]
        rows.writerow(
            [
                row["id"],
                f"{(row['at'] - capture['started']) / 1000:.3f}",
                form.quantity,
                str(form.bound or ""),
                row["shown"],
                form.unit,
                "yes" if row["inside"] else "no",
                row["raw"].hex(),
            ]
        )
    headers = {"content-disposition": f'attachment; filename="capture-{capture["id"]}.csv"'}
    return Response(out.getvalue(), headers=headers, content_type="text/csv; charset=utf-8")
