"""Liquid water at atmospheric pressure, and its steam: enthalpy, specific heat, pressure.

Polynomials in t / 100 °C, fitted to IAPWS-95 at 101.325 kPa; the tests compare them with a public
library of that formulation from 0 to 100 °C. Temperatures are kelvin, as everywhere inside.
"""

from __future__ import annotations

import math

ZERO_CELSIUS = 273.15

SPECIFIC_HEAT_DOUBT = 0.001
"""Relative standard uncertainty of the enthalpy of tap water: salt lowers it by at most 0.07 %, formulations
differ by at most 0.05 % (IAPWS-95, IF97 and handbook tables side by side)."""

_LIQUID = (61.4325478, 421906.898, -16495.2404, 36214.5302, -48541.6359, 42449.7516, -20948.1561, 4518.75365)
_VAPOUR = (2500897.5, 183453.22, -3140.7927, -3160.9522, -2479.5447)
_BOILING = (
    1167.0521452767, -724213.16703206, -17.073846940092, 12020.82470247, -3232555.0322333,
    14.91510861353, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798,
)  # fmt: skip


COLDEST, HOTTEST = 272.0, 378.5
"""K: liquid water, with a few kelvin of grace for a thermometer's own error."""


def is_liquid(kelvin: float) -> bool:
    """Whether water at a temperature is known here."""
    return COLDEST <= kelvin <= HOTTEST


def _horner(coefficients: tuple[float, ...], kelvin: float) -> float:
    if not is_liquid(kelvin):
        raise ValueError(f"liquid water is known here from 0 to 100 °C, not at {kelvin - ZERO_CELSIUS:.1f} °C")
    x = (kelvin - ZERO_CELSIUS) / 100.0
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total


def enthalpy(kelvin: float) -> float:
    """Specific enthalpy of liquid water, J/kg above 0 °C, within 1 J/kg of IAPWS-95.

    Raises: ValueError outside 0 to 100 °C (a few kelvin of grace for a thermometer's own error).

    >>> round(enthalpy(303.15) - enthalpy(293.15))
    41815
    """
    return _horner(_LIQUID, kelvin)


def specific_heat(kelvin: float) -> float:
    """Specific heat of liquid water, J/(kg K): the slope of `enthalpy`, within 0.4 J/(kg K) of IAPWS-95."""
    slopes = tuple(power * coefficient / 100.0 for power, coefficient in enumerate(_LIQUID))[1:]
    return _horner(slopes, kelvin)


def vapour_enthalpy(kelvin: float) -> float:
    """Specific enthalpy of saturated steam, J/kg on the zero of `enthalpy`, within 1 J/kg of IAPWS-95."""
    return _horner(_VAPOUR, kelvin)


def saturation_pressure(kelvin: float) -> float:
    """Pressure, Pa, under which water boils at a temperature. Source: IAPWS-IF97, equation 30."""
    n = _BOILING
    theta = kelvin + n[8] / (kelvin - n[9])
    a = theta * theta + n[0] * theta + n[1]
    b = n[2] * theta * theta + n[3] * theta + n[4]
    c = n[5] * theta * theta + n[6] * theta + n[7]
    return float((2.0 * c / (-b + math.sqrt(b * b - 4.0 * a * c))) ** 4 * 1e6)
