"""What the picture of a heating run shows: its trace, the periods, the lines through them, the corrected rise."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from meterlog.base.units import to_place
from meterlog.heating.balance.find import VESSELS
from meterlog.heating.trace.columns import GAP
from meterlog.heating.water import ZERO_CELSIUS
from meterlog.plots.drawing import Curve, Plot, PlotBand

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.heating.answer.result import HeatingResult
    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.balance.load import End
    from meterlog.heating.trace.columns import LoggedQuantity
    from meterlog.heating.trace.periods import Plateau
    from meterlog.plots.drawing import Point

FITTED = "fitted line"
CARRIED = "carried to start and stop"


def plot_of(answer: HeatingResult) -> Plot:
    """The picture of a run; one that was refused shows its trace and the reason."""
    series = [part for part in (answer.trace.temperature, answer.trace.second) if part is not None]
    names = [name for name, _ in answer.loads()] or VESSELS
    traces = [
        Curve(points=_points(part), name=f"temperature{of}", style=style)
        for part, of, style in zip(series, _of(names, len(series)), ("line", "dotted"), strict=False)
    ]
    for place, (found, of) in enumerate(zip((f for _, f in answer.loads()), _of(names, len(series)), strict=False)):
        traces += [*_fits(found), *_rise(found, of, aside=0.03 * place * (series[0].times[-1] - series[0].times[0]))]
    return Plot(
        says=_says(answer),
        tells=_tells(answer),
        title=_says(answer).replace("± ", "±\N{NO-BREAK SPACE}").replace(" W", "\N{NO-BREAK SPACE}W"),
        x_label="time, s",
        y_label="temperature, °C",
        traces=traces,
        bands=_periods(answer),
    )


def _of(names: Sequence[str], count: int) -> list[str]:
    """What tells two vessels apart; nothing where there is one."""
    return [f" in the {name}" for name in names] if count > 1 else [""]


def _says(answer: HeatingResult) -> str:
    useful = answer.useful
    if useful is None:
        return "No power could be told: " + "; ".join(part.why for part in answer.refused)
    expanded = useful.expanded_uncertainty
    bound = answer.unstated.words
    return f"Useful power {to_place(useful.watts, expanded)} W ± {to_place(expanded, expanded)} W{bound}"


def _tells(answer: HeatingResult) -> str:
    """The same for whoever does not see it."""
    heating = answer.heating
    told = [f"Heated from {heating.start:.1f} s to {heating.stop:.1f} s ({heating.how})."] if heating else []
    for name, found in answer.loads():
        first, last = (f"{end.kelvin - ZERO_CELSIUS:.2f} °C" for end in (found.first, found.last))
        told.append(f"The {name} stood at {first} at the start and at {last} at the stop;")
        told.append(f"corrected for what the room took, it rose by {corrected_rise(found):.2f} K.")
    return " ".join(told)


def corrected_rise(found: LoadBalance) -> float:
    """By how much the load would have warmed, K, had the room taken and given nothing."""
    return found.rise + found.lost / found.capacity


def _points(series: LoggedQuantity) -> list[Point]:
    """The readings in °C, with a gap where they ceased for a while."""
    points = [(t, v - ZERO_CELSIUS) for t, v in zip(series.times, series.values, strict=True)]
    longest = GAP * series.interval
    out = points[:1]
    for (before, _), point in pairwise(points):
        out += [(before, math.nan), point] if point[0] - before > longest else [point]
    return out


def _periods(answer: HeatingResult) -> list[PlotBand]:
    if answer.heating is None or not answer.founds:
        return []
    start, stop = answer.heating.start, answer.heating.stop
    return [
        PlotBand(axis="x", low=None, high=start, name="before", is_shaded=False),
        PlotBand(axis="x", low=start, high=stop, name="heating"),
        PlotBand(axis="x", low=stop, high=None, name="after", is_shaded=False),
    ]


def _fits(found: LoadBalance) -> list[Curve]:
    """The lines through the still periods, and carried to the ends of heating; or the ramp that power was told from."""
    start, stop = found.heating.start, found.heating.stop
    ends = [(found.before, start, found.first), (found.after, stop, found.last)]
    out = [part for stretch, moment, end in ends if stretch for part in _fit(found, stretch, moment, end)]
    if found.along:
        ramp = [(t + found.along.lag, end.kelvin - ZERO_CELSIUS) for _, t, end in ends]
        out.append(Curve(points=ramp, name=FITTED, style="fitted"))
    return out


def _fit(found: LoadBalance, stretch: Plateau, moment: float, end: End) -> list[Curve]:
    level = end.kelvin - ZERO_CELSIUS
    line = [(t, level + found.drift(end) * (t - moment)) for t in (stretch.first, stretch.last)]
    near = min(line, key=lambda point: abs(point[0] - moment))
    return [
        Curve(points=line, name=FITTED, style="fitted"),
        Curve(points=[near, (moment, level)], name=CARRIED, style="dashed"),
    ]


def _rise(found: LoadBalance, of: str, aside: float) -> list[Curve]:
    """The corrected rise as a bar at the stop, or so many s after it, over the level at the start."""
    foot, at = found.first.kelvin - ZERO_CELSIUS, found.heating.stop + aside
    rise = corrected_rise(found)
    return [
        Curve(points=[(found.heating.start, foot), (at, foot)], name=CARRIED, style="dashed"),
        Curve(points=[(at, foot), (at, foot + rise)], name=f"corrected rise{of}: {rise:.2f} K", style="span"),
    ]
