"""Resistance and continuity: leads off, reversed current against stray volts, repeats, conductors."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from meterlog.base.uncertainty import Error, error_of, estimate, nominal, rectangle
from meterlog.judging.bands import band
from meterlog.judging.formula import derive
from meterlog.judging.measurement import in_circuit, less_null
from meterlog.judging.method import GIVEN, SEVERAL, Input, Method
from meterlog.judging.result import Result, doubts, nothing, trails

DRIFT_COUNTS = 3
"""Counts by which a null may move between before and after. Common practice, no source."""

COPPER_OHM_M = 1e-6 / 58.0
"""Resistivity of copper at 20 °C, ohm m: 58 MS/m. Source: IEC 60028 (read second-hand)."""


def conductor_resistance(length: Any, area: Any, resistivity: Any = COPPER_OHM_M) -> Any:
    """Resistance of a conductor, ohm: ρ l/A, with l in m and A in m².

    >>> round(conductor_resistance(25.0, 2.5e-6), 3)
    0.172
    """
    return resistivity * length / area


def leads_off(reading: Result, leads: Result) -> Result:
    """A resistance without the leads that it was measured through."""
    return less_null(reading, leads)


def lead_drift(after: Result, before: Result, step: Result) -> Result:
    """By how much the leads' resistance moved between two checks, against ± 3 counts.

    More than that voids readings below 10 ohm taken between. Common practice, no source. What the
    meter does wrong it does both times: only the resolution of the two is an error here.
    """
    result = derive("resistance", lambda a, b: nominal(a) - nominal(b), "{0} − {1}", after, before)
    if result.number is None:
        return result
    half, most = nominal(step.number) / 2.0, DRIFT_COUNTS * nominal(step.number)
    errors = (rectangle("resolution, after", half), rectangle("resolution, before", half))
    result = replace(result, number=estimate(nominal(result.number), *errors))
    return replace(result, limit=band("resistance", -most, most, f"{DRIFT_COUNTS} counts", "common practice"))


def reversed_current(forward: Any, backward: Any, current: Any) -> Any:
    """Resistance free of thermal volts, ohm: (V+ − V−)/(2 I), read with the current both ways."""
    return (forward - backward) / (2.0 * current)


def by_reversal(forward: Result, backward: Result, current: Result) -> Result:
    """Four-wire resistance from the voltage at both directions of the current."""
    return derive(
        "resistance", reversed_current, "R = (V+ − V−)/(2 I) = ({0} − {1})/(2 × {2})", forward, backward, current
    )


def mean_of_repeats(repeats: tuple[Result, ...]) -> Result:
    """The mean of one thing measured again and again, leads lifted and applied anew each time.

    The scatter between the repeats, contact and all, is an error from readings: s/√n, ν = n − 1.
    """
    if len(repeats) < 2:
        return nothing("resistance", "Two repeats or more are needed.", *repeats)
    if not all(part.value is not None for part in repeats):
        return nothing(repeats[0].quantity, "A repeat gave no value: bounds are not averaged.", *repeats)
    values = [nominal(part.number) for part in repeats]
    n = len(values)
    mean = math.fsum(values) / n
    deviation = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1))
    total: Any = sum(part.number for part in repeats)
    number = total / n
    if deviation:
        scatter = Error(
            name="spread of the repeats",
            standard_uncertainty=deviation / math.sqrt(n),
            distribution="readings",
            degrees_of_freedom=float(n - 1),
        )
        number = number + error_of(scatter)
    line = f"mean of {n} repeats {mean:.6g}, s = {deviation:.4g}, s/√n = {deviation / math.sqrt(n):.4g}"
    result = Result(quantity=repeats[0].quantity, number=number, doubts=doubts(repeats))
    return replace(result, trail=(*trails(repeats), line))


METHODS = (
    Method(
        name="leads off",
        title="Resistance without the leads.",
        gives="resistance",
        inputs={
            "reading": Input("resistance", "through the leads"),
            "leads": Input("resistance", "of the leads pressed together"),
        },
        find=leads_off,
    ),
    Method(
        name="in circuit",
        title="What a reading says of one part when others in parallel stayed connected.",
        gives="",
        inputs={"reading": Input("resistance", "across the part in circuit")},
        find=in_circuit,
    ),
    Method(
        name="lead drift",
        title="By how much the leads moved between two checks, against three counts.",
        gives="resistance",
        inputs={
            "after": Input("resistance", "the leads pressed together, at the end"),
            "before": Input("resistance", "the leads pressed together, at the start"),
            "step": Input("resistance", "one step of the last digit", GIVEN, "0.01 ohm"),
        },
        find=lead_drift,
    ),
    Method(
        name="reversed current",
        title="Four-wire resistance, free of thermal volts.",
        gives="resistance",
        inputs={
            "forward": Input("voltage", "with the current one way"),
            "backward": Input("voltage", "with the current the other way, its sign kept"),
            "current": Input("current", "that flows"),
        },
        find=by_reversal,
    ),
    Method(
        name="mean of repeats",
        title="Mean of one thing measured again and again, with the scatter between.",
        gives="",
        inputs={"repeats": Input("resistance", "captures of the same points", SEVERAL)},
        find=mean_of_repeats,
    ),
)
