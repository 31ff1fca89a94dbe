"""The protective conductor: its resistance against what the cord's length, section and class allow.

A hand meter's ohms range gives an indication only: the rated test needs 0.2 A or more.
Two families of rule, both with the cord unrolled and flexed:

    length   to 1.5 mm²: 0.3 ohm to 5 m, and 0.1 ohm for each further 7.5 m pro rata;
             over 1.5 mm²: the most that a sound conductor of that class and section may have (IEC 60228),
             not under 0.1 ohm; both never over 1 ohm
    cord     0.1 ohm and the most that the cord's own conductor may have

Sources: length: instrument makers' pages on VDE 0701-0702:2008, an article on EN 50699 and a maker's help
note on EN 50678 (up to 1.5 mm² as before, above it by calculation, the least limit 0.1 ohm; all read
second-hand); whether the 7.5 m count pro rata was not seen, the stricter reading is taken. Pages that
calculate print l/(58 A), pure copper's own: a sound flexible cord has up to 16 % more, and is not failed
for it here. Cord: three UK test-service pages (read second-hand). The local code rules.
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

MOST_OHM_PER_M = {
    "1": {0.5: 36.0e-3, 0.75: 24.5e-3, 1.0: 18.1e-3, 1.5: 12.1e-3, 2.5: 7.41e-3, 4.0: 4.61e-3, 6.0: 3.08e-3,
          10.0: 1.83e-3, 16.0: 1.15e-3},
    "5": {0.5: 39.0e-3, 0.75: 26.0e-3, 1.0: 19.5e-3, 1.5: 13.3e-3, 2.5: 7.98e-3, 4.0: 4.95e-3, 6.0: 3.30e-3,
          10.0: 1.91e-3, 16.0: 1.21e-3},
}  # fmt: skip
"""Most that a plain copper conductor may have at 20 °C, ohm per m, by class and mm². Class 2 is as class 1, class 6 as
class 5. Source: IEC 60228, tables reproduced on two cable makers' pages and an engineering page, which agree (read
second-hand). Tinned class 5 may have 2 to 3 % more; at 30 °C all have 3.9 % more."""

AS_CLASS = {"1": "1", "2": "1", "5": "5", "6": "5"}
"""Each conductor class of IEC 60228 and the column that it shares: solid, stranded; flexible, more flexible."""

INDICATION = "A hand meter's reading is an indication, not the rated-current test."


def most_resistance(length: float, area_mm2: float, conductor_class: str = "5") -> float:
    """The most that a sound conductor may have at 20 °C, ohm; length in m. Raises: KeyError for an unusual area.

    >>> round(most_resistance(25.0, 2.5), 4), round(most_resistance(25.0, 2.5, "1"), 4)
    (0.1995, 0.1852)
    """
    return MOST_OHM_PER_M[AS_CLASS[conductor_class]][area_mm2] * length


def limit_by_length(length: float, area_mm2: float = 1.5, conductor_class: str = "5") -> float:
    """Largest resistance by the length rule, ohm; length in m. Raises: KeyError for an unusual area over 1.5 mm².

    >>> [round(limit_by_length(length), 3) for length in (3, 5, 7.5, 10, 60)]
    [0.3, 0.3, 0.333, 0.367, 1.0]
    >>> [round(limit_by_length(length, 2.5), 4) for length in (10.0, 25.0, 200.0)]
    [0.1, 0.1995, 1.0]
    """
    if area_mm2 > 1.5:
        return min(max(most_resistance(length, area_mm2, conductor_class), 0.1), 1.0)
    return min(0.3 + 0.1 * max(length - 5.0, 0.0) / 7.5, 1.0)


def limit_by_cord(length: float, area_mm2: float, conductor_class: str = "5") -> float:
    """Largest resistance by the cord rule, ohm: 0.1 and the cord's. Raises: KeyError for an unusual area.

    >>> round(limit_by_cord(3.0, 1.0), 4)
    0.1585
    """
    return 0.1 + most_resistance(length, area_mm2, conductor_class)


LIMITS = {"length": limit_by_length, "cord": limit_by_cord}


def protective_conductor(resistance: Result, length: Result, area: Result, conductor_class: str, rule: str) -> Result:
    """The resistance with the limit that the rule gives for its cord.

    Below what pure copper of that length has, a second path to earth or a wrong length is likely.
    """
    metres, mm2 = nominal(length.number), round(nominal(area.number) * 1e6, 6)
    cord = f"{metres:g} m of {mm2:g} mm², class {conductor_class}"
    try:
        highest = LIMITS[rule](metres, mm2, conductor_class)
    except KeyError:
        sizes = ", ".join(f"{size:g}" for size in MOST_OHM_PER_M["5"])
        return replace(resistance, number=None, reason=f"No cord of {mm2:g} mm² is in the table: {sizes} mm².")
    source = f"{rule} rule, {cord}; makers' and trade pages, IEC 60228 for the conductor"
    lines = [f"limit by the {rule} rule for {cord}: {highest:.4g}"]
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
            "area": Input("cross_section", "of the conductor", GIVEN, "1.5 mm²"),
            "conductor class": Input("", "of IEC 60228: 1, 2 fixed wiring, 5, 6 flexible", WORD, "5", tuple(AS_CLASS)),
            "rule": Input("", "which family of rule", WORD, "length", ("length", "cord")),
        },
        find=protective_conductor,
    ),
)
