"""Windings: resistance at another temperature, temperature from resistance, rise, back to switch-off.

A metal is named by the temperature k below 0 °C at which its resistance would vanish, K: copper
234.5 (235 in machine practice), aluminium 225. Then R2/R1 = (k + t2)/(k + t1) with t in °C.
Sources: 234.5 and 225 from a UL clause in translation (read second-hand) and IEC 60335-1 (memory);
235 from an instrument handbook on IEC 60034 (read).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import exp, log, nominal
from meterlog.judging.formula import derive, exactly
from meterlog.judging.method import GIVEN, SERIES, Input, Method
from meterlog.judging.methods.trend import slope
from meterlog.judging.result import Result, nothing

if TYPE_CHECKING:
    from meterlog.judging.methods.series import ReadingSeries

ZERO_C = 273.15
_METAL = Input("temperature_difference", "k of the metal: 234.5 K copper, 225 K aluminium", GIVEN, "234.5 K")


def resistance_at(resistance: Any, temperature: Any, reference: Any, k: Any) -> Any:
    """R at a reference temperature, ohm: R (k + t_ref)/(k + t); temperatures in K.

    >>> round(resistance_at(4.62, 27.3 + 273.15, 293.15, 234.5), 5)
    4.49118
    """
    return resistance * (k + reference - ZERO_C) / (k + temperature - ZERO_C)


def temperature_from(cold: Any, hot: Any, start: Any, k: Any) -> Any:
    """Mean temperature of the winding when hot, K: (R2/R1)(k + t1) − k.

    >>> round(temperature_from(80.0, 100.0, 293.15, 234.5) - 273.15, 3)
    83.625
    """
    return hot / cold * (k + start - ZERO_C) - k + ZERO_C


def temperature_rise(cold: Any, hot: Any, start: Any, ambient: Any, k: Any) -> Any:
    """Mean rise above the ambient at the end, K: (R2 − R1)/R1 (k + t1) − (t2 − t1). A hot spot is 5 to 10 K above.

    >>> round(temperature_rise(0.2, 0.21, 293.15, 298.15, 235.0), 2)
    7.75
    """
    return (hot - cold) / cold * (k + start - ZERO_C) - (ambient - start)


def coefficient(k: Any, temperature: Any) -> Any:
    """Temperature coefficient referred to a temperature, 1/K: 1/(k + t). It belongs to that temperature only.

    >>> round(coefficient(234.5, 293.15), 5)
    0.00393
    """
    return 1.0 / (k + temperature - ZERO_C)


def winding_at(resistance: Result, temperature: Result, reference: Result, metal: Result) -> Result:
    """The resistance that a winding has at the reference temperature."""
    return derive(
        "resistance",
        resistance_at,
        "R ref = R (k + t ref)/(k + t) = {0} × ({3} + {2} − 273.15)/({3} + {1} − 273.15)",
        resistance,
        temperature,
        reference,
        metal,
    )


def winding_temperature(hot: Result, cold: Result, start: Result, metal: Result) -> Result:
    """The mean temperature of a winding from its resistance."""
    line = "t2 = (R2/R1)(k + t1) − k = {1}/{0} × ({3} + {2} − 273.15) − {3}"
    return derive("temperature", temperature_from, line, cold, hot, start, metal)


def winding_rise(hot: Result, cold: Result, start: Result, ambient: Result, metal: Result) -> Result:
    """The mean rise of a winding above the ambient at the end."""
    line = "Δt = (R2 − R1)/R1 (k + t1) − (t2 − t1) = ({1} − {0})/{0} × ({4} + {2} − 273.15) − ({3} − {2})"
    return derive("temperature_difference", temperature_rise, line, cold, hot, start, ambient, metal)


BIASED = "The final resistance is not known and the cooling is too slow to show it: the value is biased low."


def three_points(first: Any, second: Any, third: Any) -> Any:
    """R at time 0 from readings at h, 2h, 3h of an exponential: R(h) + d1²/d2."""
    d1, d2 = first - second, second - third
    return first + d1 * d1 / d2


def switch_off_resistance(cooling: ReadingSeries, delay: Result, final: Result | None = None) -> Result:
    """The resistance at switch-off, from readings while the winding cools, the first of them `delay` after it.

    With the final resistance (the cold one, at the ambient of now): ln(R − R∞) fitted as a line in
    time. Without: three readings evenly spaced, R(h) + d1²/d2, when d2 is more than ten counts;
    else ln R as a line, which is biased low and said to be.
    """
    cooling = cooling.later(nominal(delay.number))
    points = [(t, r.number) for t, r in cooling.results() if r.number is not None and not r.bound and t > 0]
    if len(points) < 3:
        return nothing("resistance", "Three readings or more are needed while it cools.", advice="Read every 10 s.")
    if final is not None and final.number is not None:
        return _by_line(cooling, points, final)
    found = _evenly_spaced(cooling)
    return found if found is not None else _by_line(cooling, points, exactly(0.0, "resistance"), BIASED)


def log_line(points: list[tuple[float, Any]], final: Any) -> tuple[Any, float]:
    """(R at time 0, time constant) of R∞ + (R0 − R∞) e^(−t/τ), by a line through ln(R − R∞).

    Args:
        points: (time in s, resistance in ohm), all above the final one.
        final: R∞, ohm; 0 fits ln R itself, which is biased low past a fifth of the time constant.
    """
    times = [t for t, _ in points]
    logs = [log(r - final) for _, r in points]
    tilt = slope(times, logs)
    start = sum(logs) / len(logs) - tilt * (sum(times) / len(times))
    return final + exp(start), -1.0 / nominal(tilt)


def _by_line(cooling: ReadingSeries, points: list[tuple[float, Any]], final: Result, *doubts: str) -> Result:
    if any(nominal(r) <= nominal(final.number) for _, r in points):
        return nothing("resistance", "A reading lies at or below the final resistance: it has cooled already.")
    number, tau = log_line(points, final.number)
    line = (
        f"ln(R − R∞) = a − t/τ over {len(points)} readings, R∞ = {nominal(final.number):.6g}, τ = {tau:.4g} s:"
        f" R0 = R∞ + exp(a) = {nominal(number):.6g}"
    )
    told = tuple(dict.fromkeys((*cooling.doubts, *final.doubts, *doubts)))
    return Result(quantity="resistance", number=number, trail=(*cooling.trail, *final.trail, line), doubts=told)


def _evenly_spaced(cooling: ReadingSeries) -> Result | None:
    """Three readings at h, 2h, 3h, h the largest that the run holds; None when d2 is within ten counts."""
    third = cooling.times[-1] / 3.0
    picked = [cooling.at(third * n, tolerance=0.02 * third) for n in (1, 2, 3)]
    values = [r.number for r in picked if r is not None and r.number is not None and not r.bound]
    if len(values) < 3 or nominal(values[1] - values[2]) <= 10 * cooling.resolution:
        return None
    parts = [r for r in picked if r is not None]
    line = "R0 = R(h) + d1²/d2 = {0} + ({0} − {1})²/({1} − {2})" + f", h = {third:.4g} s"
    result = derive("resistance", three_points, line, *parts)
    return replace(result, trail=(*cooling.trail, result.trail[-1]))


METHODS = (
    Method(
        name="winding at temperature",
        title="Resistance of a winding at a reference temperature.",
        gives="resistance",
        inputs={
            "resistance": Input("resistance", "of the winding"),
            "temperature": Input("temperature", "of the winding when measured"),
            "reference": Input("temperature", "to which it is brought", GIVEN, "20 degC"),
            "metal": _METAL,
        },
        find=winding_at,
    ),
    Method(
        name="winding temperature",
        title="Mean temperature of a winding from its cold and hot resistance.",
        gives="temperature",
        inputs={
            "hot": Input("resistance", "of the warm winding"),
            "cold": Input("resistance", "of the cold winding, same meter, range and leads"),
            "start": Input("temperature", "of the cold winding"),
            "metal": _METAL,
        },
        find=winding_temperature,
    ),
    Method(
        name="winding rise",
        title="Mean temperature rise of a winding above the ambient at the end.",
        gives="temperature_difference",
        inputs={
            "hot": Input("resistance", "of the warm winding at switch-off"),
            "cold": Input("resistance", "of the cold winding, same meter, range and leads"),
            "start": Input("temperature", "of the cold winding"),
            "ambient": Input("temperature", "around it at the end"),
            "metal": _METAL,
        },
        find=winding_rise,
    ),
    Method(
        name="switch off resistance",
        title="Resistance at switch-off, from readings while the winding cools.",
        gives="resistance",
        inputs={
            "cooling": Input("resistance", "readings with their times", SERIES),
            "delay": Input("time", "from switch-off to time 0 of the readings", GIVEN, "0 s"),
            "final": Input("resistance", "that it cools to: cold, at the ambient of now", default=""),
        },
        find=switch_off_resistance,
    ),
)
