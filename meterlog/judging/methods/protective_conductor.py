"""The protective conductor: its resistance against what the cord's length allows.

A hand meter's ohms range gives an indication only: the rated test needs 0.2 A or more.
Two families of rule, both with the cord unrolled and flexed:

    length   0.3 ohm to 5 m, and 0.1 ohm for each further 7.5 m pro rata, never over 1 ohm;
             over 1.5 mm²: l/(58 A), not under 0.1 ohm, never over 1 ohm
    cord     0.1 ohm and the cord's own resistance

Sources: length: instrument makers' pages on VDE 0701-0702:2008 and an article on EN 50699 (read
second-hand); whether the 7.5 m count pro rata was not seen, the stricter reading is taken.
Cord: three UK test-service pages (read second-hand). The local code rules.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal
from meterlog.judging.bands import band
from meterlog.judging.method import GIVEN, WORD, Input, Method
from meterlog.judging.methods.resistance import conductor_resistance

if TYPE_CHECKING:
    from meterlog.judging.result import Result

CLASS_5_OHM_PER_M = {0.5: 39.0e-3, 0.75: 26.0e-3, 1.0: 19.5e-3, 1.5: 13.3e-3, 2.5: 7.98e-3, 4.0: 4.95e-3}
"""Largest resistance of a flexible copper conductor by mm² at 20 °C. Source: IEC 60228 class 5; 0.75 to 2.5 read
second-hand on several pages, 0.5 and 4 from memory."""

INDICATION = "A hand meter's reading is an indication, not the rated-current test."


def limit_by_length(length: float, area_mm2: float = 1.5) -> float:
    """Largest resistance by the length rule, ohm; length in m.

    >>> [round(limit_by_length(length), 3) for length in (3, 5, 7.5, 10, 60)]
    [0.3, 0.3, 0.333, 0.367, 1.0]
    >>> round(limit_by_length(25.0, 2.5), 3)
    0.172
    """
    if area_mm2 > 1.5:
        return min(max(float(conductor_resistance(length, area_mm2 * 1e-6)), 0.1), 1.0)
    return min(0.3 + 0.1 * max(length - 5.0, 0.0) / 7.5, 1.0)


def limit_by_cord(length: float, area_mm2: float) -> float:
    """Largest resistance by the cord rule, ohm: 0.1 and the cord's. Raises: KeyError for an unusual area.

    >>> round(limit_by_cord(3.0, 1.0), 4)
    0.1585
    """
    return 0.1 + CLASS_5_OHM_PER_M[area_mm2] * length


def protective_conductor(resistance: Result, length: Result, area: Result, rule: str) -> Result:
    """The resistance with the limit that the rule gives for its cord.

    Below what pure copper of that length has, a second path to earth or a wrong length is likely.
    """
    metres, mm2 = nominal(length.number), round(nominal(area.number) * 1e6, 6)
    if rule == "cord" and mm2 not in CLASS_5_OHM_PER_M:
        sizes = ", ".join(f"{size:g}" for size in CLASS_5_OHM_PER_M)
        return replace(resistance, number=None, reason=f"No cord of {mm2:g} mm² is in the table: {sizes} mm².")
    highest = limit_by_length(metres, mm2) if rule == "length" else limit_by_cord(metres, mm2)
    source = f"{rule} rule, {metres:g} m of {mm2:g} mm²; makers' and trade pages"
    lines = [f"limit by the {rule} rule for {metres:g} m of {mm2:g} mm²: {highest:.4g}"]
    doubts = (*resistance.doubts, INDICATION)
    ideal = conductor_resistance(metres, mm2 * 1e-6)
    if resistance.value is not None and resistance.value + 2 * resistance.u < ideal:
        lines.append(f"pure copper of that length has {ideal:.4g}")
        doubts = (*doubts, "It is less than copper of that length can have: a second path to earth, or another length.")
    limit = band("resistance", None, highest, source, "read second-hand")
    return replace(resistance, limit=limit, doubts=doubts, trail=(*resistance.trail, *lines))


METHODS = (
    Method(
        name="protective conductor",
        title="Protective conductor against what its cord allows.",
        gives="resistance",
        inputs={
            "resistance": Input("resistance", "plug pin to metal, leads off"),
            "length": Input("length", "of the cord", GIVEN),
            "area": Input("cross_section", "of the conductor", GIVEN, "1.5 mm**2"),
            "rule": Input("", "which family of rule", WORD, "length", ("length", "cord")),
        },
        find=protective_conductor,
    ),
)
