"""Leakage and touch current: at rated voltage, through capacitance, and what a meter makes of the waveform.

Measured with a proper tester on the closed appliance. Insulation at DC says nothing of Y
capacitors, and leakage at AC little of insulation: neither is converted into the other.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import nominal
from meterlog.judging.bands import band
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, WORD, Input, Method

if TYPE_CHECKING:
    from meterlog.judging.result import Result

SUBSTITUTE = "At a low substitute voltage both poles' capacitors count, where in service one does."


def capacitive_current(capacitance: Any, voltage: Any, frequency: Any) -> Any:
    """Current through a capacitance, A: 2π f C U.

    >>> round(capacitive_current(4.7e-9, 230.0, 50.0) * 1e3, 6)
    0.339606
    """
    return 2.0 * math.pi * frequency * capacitance * voltage


def at_voltage(current: Any, used: Any, rated: Any) -> Any:
    """A leakage current scaled to the rated voltage, A."""
    return current * rated / used


def protective_current_limit(heating_power: float) -> float:
    """Largest protective-conductor current of a class I appliance, A: 3.5 mA; heating over 3.5 kW 1 mA/kW, to 10 mA.

    Source: instrument makers' pages on VDE 0701-0702:2008 (read second-hand).

    >>> [round(limit * 1e3, 3) for limit in map(protective_current_limit, (0.0, 3500.0, 6000.0, 12000.0))]
    [3.5, 3.5, 6.0, 10.0]
    """
    return 3.5e-3 if heating_power <= 3500.0 else min(1e-6 * heating_power, 10e-3)


TOUCH_CURRENT_A = 0.5e-3
"""Largest touch current of class II and of unearthed touchable metal, A. Source: as above (read second-hand)."""


def scaled_leakage(current: Result, used: Result, rated: Result) -> Result:
    """Leakage measured at another voltage, brought to the rated one."""
    result = derive("leakage_current", at_voltage, "I = {0} × {2}/{1}", current, used, rated)
    if used.number is not None and nominal(used.number) < 0.9 * nominal(rated.number):
        return replace(result, doubts=(*result.doubts, SUBSTITUTE))
    return result


def leakage_limit(current: Result, path: str, heating: Result) -> Result:
    """Leakage or touch current with the limit for its path, both polarities of the plug measured."""
    watts = nominal(heating.number)
    highest = TOUCH_CURRENT_A if path == "touch" else protective_current_limit(watts)
    source = "class II and touchable metal" if path == "touch" else f"class I, {watts:g} W of heating"
    limit = band("leakage_current", None, highest, f"{source}; makers' pages on VDE 0701-0702:2008", "read second-hand")
    return replace(current, limit=limit, trail=(*current.trail, f"limit for {source}: {limit.text}"))


def through_capacitance(capacitance: Result, voltage: Result, frequency: Result) -> Result:
    """The current that a capacitance to earth lets through."""
    line = "I = 2π f C U = 2π × {2} × {0} × {1}"
    return derive("leakage_current", capacitive_current, line, capacitance, voltage, frequency)


_RATED = Input("voltage", "rated", GIVEN, "230 V")
METHODS = (
    Method(
        name="leakage at voltage",
        title="Leakage current brought to the rated voltage.",
        gives="leakage_current",
        inputs={
            "current": Input("leakage_current", "as measured"),
            "used": Input("voltage", "that it was measured at"),
            "rated": _RATED,
        },
        find=scaled_leakage,
    ),
    Method(
        name="leakage",
        title="Leakage or touch current against the limit for its path.",
        gives="leakage_current",
        inputs={
            "current": Input("leakage_current", "the larger of both plug polarities"),
            "path": Input("", "through the protective conductor, or by touch", WORD, "earth", ("earth", "touch")),
            "heating": Input("power", "rated heating power", GIVEN, "0 W"),
        },
        find=leakage_limit,
    ),
    Method(
        name="capacitive current",
        title="Current through a capacitance to earth.",
        gives="leakage_current",
        inputs={
            "capacitance": Input("capacitance", "to earth"),
            "voltage": _RATED,
            "frequency": Input("frequency", "of the mains", GIVEN, "50 Hz"),
        },
        find=through_capacitance,
    ),
)
