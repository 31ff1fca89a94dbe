"""The run of a capture, drawn: its readings against time, the part that counts as a band; and a heating run."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

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
from meterlog.store.reader import StoredRecord

if TYPE_CHECKING:
    from meterlog.base.readings import Form
    from meterlog.store.sqlite import Connection

DOTS_MOST = 120
"""Readings up to which each is drawn as a dot as well."""


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
            says=f"Readings around capture {capture['id']}: {length:.2f} s long, at {shown}.",
            x_label="time since the capture began, s",
            y_label=f"{wording.quantity(form.quantity)}, {units.symbol(form.unit)}".rstrip(", "),
            traces=[Curve(points=points, name="readings"), Curve(points=points, name="one reading each", style="dots")]
            if len(points) <= DOTS_MOST
            else [Curve(points=points, name="readings")],
            bands=[_band(capture, shown)],
        )
    )


def _band(capture: dict[str, Any], shown: str) -> PlotBand:
    """The part that counts: a heating run's energised time, else the settled run."""
    if capture["timing"]:
        started, stopped = (at - capture["started"] / 1000 for at in json.loads(capture["timing"])[:2])
        return PlotBand(axis="x", low=started, high=stopped, name=f"heating: {stopped - started:.1f} s")
    length = (capture["ended"] - capture["started"]) / 1000
    return PlotBand(axis="x", low=0.0, high=length, name=f"the settled run: {shown}")


def _in_unit(row: dict[str, Any], form: Form) -> float:
    """A reading in the capture's unit; NaN, a gap, when it is no number or of another function."""
    if row["value"] is None or row["form"].quantity != form.quantity:
        return math.nan
    value: float = (row["value"] - form.offset) / form.scale
    return value


def heating_run(db: Connection, verdict: int, kind: str, key: str) -> dict[str, Any] | None:
    """What a verdict on a step found in its heating run: `plot`, `periods`, corrections `applied` and `refused`.

    None for a step of another kind, and for a verdict that can't be worked out again.
    """
    if not KINDS[kind].is_run:
        return None
    revisit = Revisit(StoredRecord(db))
    try:
        case = revisit.case(revisit.verdict(verdict))
        run = run_of(run_from(case, case.procedure.step(key), case.answers[key]))
    except (MeterlogError, KeyError, ValueError):
        return None
    drawn = draw_both(picture_of(run))
    return {"plot": drawn, "periods": periods(run), "applied": run.applied, "refused": run.refused}
