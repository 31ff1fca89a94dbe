"""One capture: its readings drawn with the settled part marked, their digits and bytes, and a CSV of them."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from datasette.utils.asgi import NotFound, Response

from meterlog.base import units
from meterlog.report import healthy
from meterlog.report.runs import capture_plot, readings_around
from meterlog.report.wording import fields_of
from meterlog.web.sheet import number_of, read, sheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.record.kept import CaptureRecord, JobRecord, ReadingRecord, StepRecord, VerdictRecord
    from meterlog.record.reader import RecordReader
    from meterlog.report.healthy import LikeIt

ROWS_SHOWN = 400
"""Readings in the table of the page; the CSV has all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureSheet:
    """A capture with its job and step, the readings around it, and what was concluded of it."""

    job: JobRecord
    step: StepRecord
    capture: CaptureRecord
    readings: Sequence[ReadingRecord]
    verdicts: Sequence[VerdictRecord]
    plot: str
    si: str
    alike: LikeIt | None


async def page(datasette: Any, request: Any) -> Any:
    found = await read(datasette, _sheet, number_of(request))
    return await sheet(datasette, request, "capture.html", rows_shown=ROWS_SHOWN, **fields_of(found))


def _sheet(reader: RecordReader, number: int) -> CaptureSheet:
    capture = reader.capture(number)
    job = reader.job(capture.job) if capture else None
    if capture is None or job is None:
        raise NotFound(f"There is no capture {number}.")
    step = next(step for step in reader.steps(job.id) if step.id == capture.step)
    readings = readings_around(reader, capture)
    return CaptureSheet(
        job=job,
        step=step,
        capture=capture,
        readings=readings,
        verdicts=[each for each in reader.verdicts(job.id) if each.capture == number],
        plot=capture_plot(capture, readings),
        si=units.QUANTITIES[capture.capture.form.quantity].si,
        alike=healthy.of_capture(reader, step.key, job.appliance, number),
    )


async def as_csv(datasette: Any, request: Any) -> Any:
    """The readings around a capture with their units, digits as shown."""
    found = await read(datasette, _sheet, number_of(request))
    run = found.capture.capture
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(["reading", "time_s", "quantity", "bound", "shown", "unit", "in_capture", "frame_hex"])
    for each in found.readings:
        form = each.reading.form
        rows.writerow(
            [
                each.id,
                f"{each.at / 1000 - run.started:.3f}",
                form.quantity,
                str(form.bound or ""),
                each.reading.digits,
                form.unit,
                "yes" if run.first <= each.id <= run.last else "no",
                each.frame.hex(),
            ]
        )
    headers = {"content-disposition": f'attachment; filename="capture-{found.capture.id}.csv"'}
    return Response(out.getvalue(), headers=headers, content_type="text/csv; charset=utf-8")
