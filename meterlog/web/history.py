"""One step of one type of appliance across jobs: where a value lies among those measured before."""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound

from meterlog.base import units
from meterlog.plots.drawing import Curve, Plot, PlotBand, draw_both
from meterlog.procedure.kinds import KINDS
from meterlog.report import wording
from meterlog.store import queries
from meterlog.web.sheet import read, sheet

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection

FEWEST = 2
"""Values that can be compared."""
FEW = 5
"""Values below which no middle half is spoken of."""


async def overview(datasette: Any, request: Any) -> Any:
    """Types of appliance, each with the checks that were measured."""
    return await sheet(datasette, request, "histories.html", appliances=await read(datasette, _checks))


def _checks(db: Connection) -> list[dict[str, Any]]:
    found = queries.appliances(db)
    for each in found:
        measured = (step for step in queries.steps(db, each["job"]) if step["quantity"])
        each["steps"] = [step for step in measured if queries.was_measured(db, step["key"], each["appliance"])]
    return [each for each in found if each["steps"]]


async def page(datasette: Any, request: Any) -> Any:
    key, appliance = unquote(request.url_vars["step"]), request.args.get("appliance", "")
    captures = await read(datasette, queries.history, key, appliance)
    if not captures:
        raise NotFound(f"Nothing was measured for {key} of {appliance or 'any appliance'}.")
    here = request.args.get("job", "")
    alike, shown_in = compared(captures)
    return await sheet(
        datasette, request, "history.html",
        captures=list(reversed(captures)), title=captures[-1]["title"], appliance=appliance, here=here,
        says=standing_of(alike, here, shown_in.si), plot=plot_of(alike, here, shown_in),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownIn:
    """What the values of a history are: their SI unit, and the words, scale and offset in which they are drawn."""

    si: str
    words: str
    scale: float = 1.0
    offset: float = 0.0


def compared(captures: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], ShownIn]:
    """The captures of the newest one's quantity, each with the `value` that is compared, SI.

    Of a heating run that is the power found, which its verdict holds: its capture is the water's temperature.
    """
    last = captures[-1]
    if KINDS[last["kind"]].is_run:
        runs = [{**c, "value": c["found"]} for c in captures if c["found_unit"] == last["found_unit"]]
        for capture in captures:
            capture["found_words"] = wording.measure(capture["found"], capture["found_unit"] or "watt")
        return runs, ShownIn(si=last["found_unit"] or "watt", words="useful power, W")
    form = last["form"]
    unit = f"{wording.quantity(form.quantity)}, {units.symbol(form.unit)}".rstrip(", ")
    alike = [capture for capture in captures if capture["form"].quantity == form.quantity]
    si = units.QUANTITIES[form.quantity].si
    return alike, ShownIn(si=si, words=unit, scale=form.scale, offset=form.offset)


def standing_of(captures: list[dict[str, Any]], here: str, si: str) -> str:
    """Where the newest value of job `here` lies among the others, in one sentence; values in SI, of the unit `si`."""
    values = [capture["value"] for capture in captures if capture["value"] is not None]
    bounds = len(captures) - len(values)
    beside = f" {bounds} more read beyond a range." if bounds else ""
    own = [capture for capture in captures if capture["job_ref"] == here]
    if not values:
        return f"{len(captures)} measured, all of them beyond a range."
    spread = _spread(values, si)
    if not own or own[-1]["value"] is None:
        return f"{len(values)} measured: {spread}.{beside}"
    value = own[-1]["value"]
    if len(values) == 1:
        return f"Job {here} measured {units.show(value, si)}; no other job has a value to compare.{beside}"
    below = sum(1 for other in values if other < value)
    place = f"{below} of {len(values)} measured lie below it"
    return f"Job {here} measured {units.show(value, si)}: {place}; {spread}.{beside}"


def _spread(values: list[float], si: str) -> str:
    middle = units.show(statistics.median(values), si)
    if len(values) < FEW:
        return f"from {units.show(min(values), si)} to {units.show(max(values), si)}"
    low, _, high = statistics.quantiles(values, n=4)
    return f"the middle one is {middle}, half of them lie from {units.show(low, si)} to {units.show(high, si)}"


def plot_of(captures: list[dict[str, Any]], here: str, shown_in: ShownIn) -> str:
    """The values in the order in which they were measured; "" when there is nothing to compare."""
    scale, offset = shown_in.scale, shown_in.offset
    points = [
        (float(n), (capture["value"] - offset) / scale if capture["value"] is not None else math.nan)
        for n, capture in enumerate(captures, 1)
    ]
    numbers = [y for _, y in points if not math.isnan(y)]
    if len(numbers) < FEWEST:
        return ""
    own = [point for point, capture in zip(points, captures, strict=True) if capture["job_ref"] == here]
    traces = [Curve(points=points, name="measured before", style="dots")]
    if own and not math.isnan(own[-1][1]):
        traces.append(Curve(points=[(points[0][0], own[-1][1]), (points[-1][0], own[-1][1])], name=f"job {here}"))
    bands = []
    if len(numbers) >= FEW:
        low, _, high = statistics.quantiles(numbers, n=4)
        bands = [PlotBand(axis="y", low=low, high=high, name="half of them lie here")]
    return draw_both(
        Plot(
            says=f"{len(numbers)} values of this check, oldest to newest.",
            x_label="captures, oldest to newest",
            y_label=shown_in.words,
            traces=traces,
            bands=bands,
            counts_x=True,
        )
    )
