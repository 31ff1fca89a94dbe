"""The run of a capture, drawn: its readings against time, the part that counts as a band; and a heating run."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.base.errors import MeterlogError
from meterlog.heating.answer.words import periods
from meterlog.plots.drawing import Curve, Plot, PlotBand, draw_both
from meterlog.plots.heating_run import plot_of as picture_of
from meterlog.procedure.case import heating_run as run_from
from meterlog.procedure.heating_step import run_of
from meterlog.procedure.kinds import KINDS
from meterlog.record.revisit import Revisit
from meterlog.report import wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import Form, Reading
    from meterlog.heating.answer.result import Correction
    from meterlog.heating.answer.words import Period
    from meterlog.heating.trace.periods import NotFound
    from meterlog.record.kept import CaptureRecord, ReadingRecord, StepRecord, VerdictRecord
    from meterlog.record.reader import RecordReader

AROUND_MS = 8_000
"""What is shown before and after a capture."""
DOTS_MOST = 120
"""Readings up to which each is drawn as a dot as well."""


def readings_around(reader: RecordReader, capture: CaptureRecord) -> list[ReadingRecord]:
    """The readings of a capture's step, link and channel from 8 s before to 8 s after it."""
    channel = capture.capture.form.channel
    return [each for each in reader.frames(capture, AROUND_MS) if each.reading.form.channel == channel]


def capture_plot(kept: CaptureRecord, readings: Sequence[ReadingRecord]) -> str:
    """The readings against time as SVG, the settled run as a band; "" when none of them is a number."""
    form, zero = kept.capture.form, kept.capture.started
    points = [(each.at / 1000 - zero, _in_unit(each.reading, form)) for each in readings]
    if all(math.isnan(y) for _, y in points):
        return ""
    length = kept.capture.ended - zero
    shown = wording.display(kept)
    dots = [Curve(points=points, name="one reading each", style="dots")] if len(points) <= DOTS_MOST else []
    return draw_both(
        Plot(
            says=f"Readings around capture {kept.id}: {length:.2f} s long, at {shown}.",
            x_label="time since the capture began, s",
            y_label=f"{wording.quantity(form.quantity)}, {units.symbol(form.unit)}".rstrip(", "),
            traces=[Curve(points=points, name="readings"), *dots],
            bands=[_band(kept, shown)],
        )
    )


def _band(kept: CaptureRecord, shown: str) -> PlotBand:
    """The part that counts: a heating run's energised time, else the settled run."""
    capture, timing = kept.capture, kept.capture.timing
    if timing:
        started, stopped = timing.started - capture.started, timing.stopped - capture.started
        return PlotBand(axis="x", low=started, high=stopped, name=f"heating: {stopped - started:.1f} s")
    return PlotBand(axis="x", low=0.0, high=capture.ended - capture.started, name=f"the settled run: {shown}")


def _in_unit(reading: Reading, form: Form) -> float:
    """A reading in the capture's unit; NaN, a gap, when it is no number or of another function."""
    if reading.value is None or reading.form.quantity != form.quantity:
        return math.nan
    return (reading.value - form.offset) / form.scale


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnRun:
    """What was found in a heating run: its picture as SVG, its periods, corrections made and refused."""

    plot: str
    periods: Sequence[Period]
    applied: Sequence[Correction]
    refused: Sequence[NotFound]


def drawn_run(reader: RecordReader, verdict: VerdictRecord, step: StepRecord) -> DrawnRun | None:
    """The heating run that a verdict rests on; None for another kind of step, and for one that can't be read again."""
    if not KINDS[step.kind].is_run:
        return None
    try:
        case = Revisit(reader).case(verdict)
        run = run_of(run_from(case, case.procedure.step(step.key), case.answers[step.key]))
    except (MeterlogError, KeyError, ValueError):
        return None
    drawn = draw_both(picture_of(run))
    return DrawnRun(plot=drawn, periods=periods(run), applied=run.applied, refused=run.refused)
