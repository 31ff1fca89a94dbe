"""One check of one type of appliance across jobs: what each measured, and what healthy ones of each model read."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound

from meterlog.base import units
from meterlog.plots.drawing import Curve, Plot, PlotBand, draw_both
from meterlog.record.history import healthy_of_each_model
from meterlog.report import healthy, wording
from meterlog.web.sheet import read, sheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.record.history import StepMeasurement
    from meterlog.report.healthy import LikeIt

FEWEST_DRAWN = 2
"""Values that can be compared."""


async def overview(datasette: Any, request: Any) -> Any:
    """Types of appliance, each with the checks that were measured."""
    found = await read(datasette, lambda record: record.measured_checks())
    return await sheet(datasette, request, "histories.html", appliances=found)


async def page(datasette: Any, request: Any) -> Any:
    key, appliance = unquote(request.url_vars["step"]), request.args.get("appliance", "")
    measured = await read(datasette, healthy.measurements, key, appliance)
    if not measured:
        raise NotFound(f"Nothing was measured for {key} of {appliance or 'any appliance'}.")
    here = request.args.get("job", "")
    unit = measured[-1].unit
    own = [each for each in measured if each.job.ref == here]
    alike = healthy.like_it(measured, own[-1]) if own else None
    return await sheet(
        datasette, request, "history.html",
        measured=list(reversed(measured)), step=measured[-1].step, appliance=appliance, here=here,
        says=standing_of(measured, here), alike=alike, found_words=found_words,
        plot=history_plot(measured, here, alike),
        models=[healthy.sentence(model) for model in healthy_of_each_model(measured, unit)],
    )  # fmt: skip


def found_words(measured: StepMeasurement) -> str:
    """What was found, in words: as displayed, or with its unit where it was worked out from the display."""
    form = measured.capture.capture.form
    if measured.unit != units.QUANTITIES[form.quantity].si:
        return wording.measure(measured.value, measured.unit)
    return wording.display(measured.capture)


def standing_of(measured: Sequence[StepMeasurement], here: str) -> str:
    """What job `here` measured last, and from where to where all of these lie, in one sentence."""
    unit = measured[-1].unit
    found = [each for each in measured if each.unit == unit]
    values = [value for each in found if (value := each.value) is not None]
    beyond = f" {len(found) - len(values)} more read beyond a range." if len(values) < len(found) else ""
    if not values:
        return f"{len(found)} measured, all of them beyond a range."
    ends = " to ".join(dict.fromkeys(units.show(end, unit) for end in (min(values), max(values))))
    own = [each.value for each in found if each.job.ref == here]
    if not own or own[-1] is None:
        return f"{len(values)} measured: {ends}.{beyond}"
    if len(values) == 1:
        return f"Job {here} measured {units.show(own[-1], unit)}; no other job has a value to compare.{beyond}"
    return f"Job {here} measured {units.show(own[-1], unit)}, among {len(values)}: {ends}.{beyond}"


def history_plot(measured: Sequence[StepMeasurement], here: str, alike: LikeIt | None) -> str:
    """The values in the order in which they were measured; "" when there is nothing to compare.

    With the job `here` stand its own value and, of `alike`, where the next healthy one of its model is expected.
    """
    last = measured[-1]
    found = [each for each in measured if each.unit == last.unit]
    words, scale, offset = _axis(last)

    def drawn(value: float | None) -> float:
        return math.nan if value is None else (value - offset) / scale

    points = [(float(n), drawn(each.value)) for n, each in enumerate(found, 1)]
    numbers = [y for _, y in points if not math.isnan(y)]
    if len(numbers) < FEWEST_DRAWN:
        return ""
    traces = [Curve(points=points, name="measured", style="dots")]
    own = [each for each in found if each.job.ref == here]
    bands = []
    if own and own[-1].value is not None:
        level = drawn(own[-1].value)
        traces.append(Curve(points=[(points[0][0], level), (points[-1][0], level)], name=f"job {here}"))
    if alike and alike.low is not None:
        name = "19 in 20 healthy ones of its model are expected here"
        bands.append(PlotBand(axis="y", low=drawn(alike.low), high=drawn(alike.high), name=name))
    return draw_both(
        Plot(
            says=f"{len(numbers)} values of this check, oldest to newest.",
            x_label="captures, oldest to newest",
            y_label=words,
            traces=traces,
            bands=bands,
            counts_x=True,
        )
    )


def _axis(last: StepMeasurement) -> tuple[str, float, float]:
    """Words, scale and offset in which the values are drawn: the display's own, or SI where they were worked out."""
    form, unit = last.capture.capture.form, last.unit
    if unit != units.QUANTITIES[form.quantity].si:
        return f"what was found, {units.symbol(unit)}", 1.0, 0.0
    return f"{wording.quantity(form.quantity)}, {units.symbol(form.unit)}".rstrip(", "), form.scale, form.offset
