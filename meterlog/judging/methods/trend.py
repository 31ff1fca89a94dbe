"""How a value changes: drift over a capture, and the trend of one appliance from job to job."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from meterlog.base.straight import straight
from meterlog.base.uncertainty import Error, error_of, nominal
from meterlog.judging.method import GIVEN, SERIES, Input, Method
from meterlog.judging.result import YEAR_S, Result, nothing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.judging.methods.series import ReadingSeries


def slope(times: Sequence[float], values: Sequence[Any]) -> Any:
    """Least-squares slope, per s, of values that may carry their errors.

    Raises: ZeroDivisionError, when all times are equal.
    """
    mean = math.fsum(times) / len(times)
    below = math.fsum((t - mean) ** 2 for t in times)
    return sum((t - mean) * v for t, v in zip(times, values, strict=True)) / below


def drift(run: ReadingSeries) -> Result:
    """By how much a value drifts over a run: the fitted slope times its length.

    The counts of each reading are its own error; scatter about the line is another, from n − 2
    degrees of freedom. In readings of one meter the gain acts on the drift, not on the value.
    """
    return _change(run, run.times[-1] - run.times[0] if run.times else 0.0, run.quantity)


def trend(run: ReadingSeries, over: Result) -> Result:
    """By how much a value changes in a given time (a year), from the jobs of one appliance."""
    return _change(run, nominal(over.number), run.quantity)


def _change(run: ReadingSeries, length: float, quantity: str) -> Result:
    points = [(t, r.number) for t, r in run.results() if r.number is not None and not r.bound]
    if len(points) < len(run.results()):
        return nothing(quantity, "A reading of the run is a bound: it is not differenced.", advice="See each reading.")
    times = [t for t, _ in points]
    if len(set(times)) < 3:
        return nothing(quantity, "Three readings at different times are needed.", advice="Take it again at later jobs.")
    number = slope(times, [v for _, v in points]) * length
    scatter = _scatter(times, [nominal(v) for _, v in points])
    spread = math.sqrt(math.fsum((t - math.fsum(times) / len(times)) ** 2 for t in times))
    if scatter > 1e-12 * max(abs(nominal(v)) for _, v in points):
        error = Error(
            name="spread about the line",
            standard_uncertainty=scatter / spread * abs(length),
            distribution="readings",
            degrees_of_freedom=float(len(times) - 2),
        )
        number = number + error_of(error)
    change = f"slope × {length:.4g} s over {len(times)} readings = {nominal(number):.5g}"
    line = f"{change}, scatter about the line {scatter:.3g}"
    given = "temperature_difference" if quantity == "temperature" else quantity
    return Result(quantity=given, number=number, trail=(*run.trail, line), doubts=run.doubts)


def _scatter(times: Sequence[float], values: Sequence[float]) -> float:
    """Standard deviation about the fitted line."""
    line = straight(times, values)
    rest = math.fsum((v - line.at(t)) ** 2 for t, v in zip(times, values, strict=True))
    return math.sqrt(rest / (len(times) - 2))


METHODS = (
    Method(
        name="drift",
        title="By how much a value drifts over a run.",
        gives="",
        inputs={"run": Input("resistance", "readings with their times", SERIES)},
        find=drift,
    ),
    Method(
        name="trend",
        title="By how much a value changes in a given time, from job to job.",
        gives="",
        inputs={
            "run": Input("resistance", "one reading a job, with its time", SERIES),
            "over": Input("time", "the time it is told for", GIVEN, f"{YEAR_S:.0f} s"),
        },
        find=trend,
    ),
)
