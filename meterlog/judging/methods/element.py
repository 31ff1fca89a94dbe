"""Heating elements: cold resistance against rated power and voltage.

R = U²/P holds hot; cold it is less by Ct, the alloy's hot-to-cold ratio. A ceramic PTC heater and a
lamp say nothing about their power when cold: judge those only against a twin.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import nominal
from meterlog.judging.bands import band
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, Input, Method
from meterlog.judging.methods.input_power import CLAUSE, deviation

if TYPE_CHECKING:
    from meterlog.judging.result import Result


def cold_resistance(voltage: Any, power: Any, ratio: Any = 1.0) -> Any:
    """Cold resistance of an element of rated power, ohm: U²/(P Ct).

    >>> round(cold_resistance(230.0, 2000.0), 2)
    26.45
    """
    return voltage * voltage / (power * ratio)


def power_hot(resistance: Any, voltage: Any, ratio: Any = 1.0) -> Any:
    """Power of an element at a voltage, from its cold resistance, W: U²/(R Ct)."""
    return voltage * voltage / (resistance * ratio)


def element_band(resistance: Result, power: Result, voltage: Result, ratio: Result) -> Result:
    """Cold resistance with the band that the rated power's deviation allows."""
    watts, volts, ct = (nominal(part.number) for part in (power, voltage, ratio))
    lowest, highest = deviation(watts, "heating")
    low, high = (float(cold_resistance(volts, p, ct)) for p in (highest, lowest))
    limit = band("resistance", low, high, f"rated power and its deviation, {CLAUSE}", "memory")
    line = f"rated R = U²/(P Ct) = {volts:g}²/({watts:g} × {ct:g}) = {cold_resistance(volts, watts, ct):.5g};"
    return replace(resistance, limit=limit, trail=(*resistance.trail, f"{line} band {limit.text}"))


def element_power(resistance: Result, voltage: Result, ratio: Result) -> Result:
    """The power that an element would take at its rated voltage."""
    return derive("power", power_hot, "P = U²/(R Ct) = {1}²/({0} × {2})", resistance, voltage, ratio)


_R = Input("resistance", "cold, alone, leads off")
_U = Input("voltage", "rated", GIVEN)
_CT = Input("ratio", "hot over cold resistance of the alloy; 1.02 to 1.22 by alloy and heat", GIVEN, "1")
METHODS = (
    Method(
        name="element band",
        title="Cold resistance of a heating element against rated power and voltage.",
        gives="resistance",
        inputs={"resistance": _R, "power": Input("power", "rated", GIVEN), "voltage": _U, "ratio": _CT},
        find=element_band,
    ),
    Method(
        name="element power",
        title="Power of a heating element at its rated voltage, from its cold resistance.",
        gives="power",
        inputs={"resistance": _R, "voltage": _U, "ratio": _CT},
        find=element_power,
    ),
)
