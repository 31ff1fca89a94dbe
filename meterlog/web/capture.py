"""One capture: its readings drawn with the settled part marked, their digits and bytes, and a CSV of them."""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING, Any

from datasette.utils.asgi import NotFound, Response

from meterlog import units
from meterlog.drawing import Band, Plot, Trace, draw_both
from meterlog.web import queries, wording
from meterlog.web.sheet import number_of, read, sheet

if TYPE_CHECKING:
    from meterlog.readings import Form
    from meterlog.store.sqlite import Connection

DOTS_MOST = 120
"""Readings up to which each is drawn as a dot as well."""
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
    }


def plot_of(capture: dict[str, Any], readings: list[dict[str, Any]]) -> str:
    """The readings against time as SVG, the settled run as a band; "" when none of them is a number."""
    form = capture["form"]
    zero = capture["started"]
    points = [((row["at"] - zero) / 1000, _in_unit(row, form)) for row in readings]
    if all(math.isnan(y) for _, y in points):
        return ""
    length = (capture["ended"] - zero) / 1000
    shown = wording.display(capture)
    return draw_both(
        Plot(
            says=f"Readings around capture {capture['id']}: settled for {length:.2f} s at {shown}.",
            x_label="time since the capture began, s",
            y_label=f"{wording.quantity(form.quantity)}, {units.symbol(form.unit)}".rstrip(", "),
            traces=[Trace(points=points, name="readings"), Trace(points=points, name="one reading each", style="dots")]
            if len(points) <= DOTS_MOST
            else [Trace(points=points, name="readings")],
            bands=[Band(axis="x", low=0.0, high=length, name=f"the settled run: {shown}")],
        )
    )


def _in_unit(row: dict[str, Any], form: Form) -> float:
    """A reading in the capture's unit; NaN, a gap, when it is no number or of another function."""
    if row["value"] is None or row["form"].quantity != form.quantity:
        return math.nan
    value: float = (row["value"] - form.offset) / form.scale
    return value


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
