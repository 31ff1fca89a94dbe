"""The formulas of the methods, each by itself, and what each leaves out.

The run itself (`meterlog.heating.run`) is judged by the method fixed beforehand; the others stand beside it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.heating.times.heating import USUAL_S

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.uncertainty import Estimate

METHODS = {
    "enthalpy": "useful power at full output: heat brought into the water (by its enthalpy), and into the vessel when "
    "one is stated, per second at full output; heat lost to the room meanwhile is put back",
    "ramp": "useful power at full output: heat per second along the straight part of the rise, into water and stated "
    "vessel, losses put back",
    "water": "mass times the rise of the water's enthalpy, per second at full output; nothing for vessel or room",
    "quick": "70 W for each kelvin that a litre rises in a minute at full output; common practice",
    "iec-60705": "in the manner of IEC 60705: [4.187 m_w (T2 - T1) + 0.55 m_c (T2 - T0)] / t, with m in g, t at full "
    "output",
    "two-vessels": "in the manner of the two-litre test: 70 W for each kelvin of the mean rise of a litre in each of "
    "two vessels in two minutes at full output; other masses and times in proportion",
}
"""Each method and what its power means."""

OF_TWO_LOADS = ("enthalpy", "water", "two-vessels")
"""The methods that tell the power of two vessels heated together."""

LEAVES_OUT = {
    "enthalpy": "how much of the vessel warms is an estimate, unless it was measured by mixing",
    "ramp": "temperatures at the ends are not used",
    "water": "the vessel's heat (a litre in 300 g to 900 g of glass: 4 % to 18 %) and the exchange with the room",
    "quick": "the vessel's heat and the exchange with the room; the factor stands for 4200 J/(kg K)",
    "iec-60705": "the exchange with the room; its own load, vessel, temperatures and rest only where met",
    "two-vessels": "the vessels' heat and the exchange with the room; the factor stands for 4200 J/(kg K)",
}
"""What each method leaves out; of glass: 0.6 to 1 of it warms, 820 J/(kg K) against 4186 J/K of the litre."""

OVENS = ("iec-60705", "two-vessels")
"""The methods of microwave ovens."""


def of_loads(count: int) -> list[str]:
    """The methods that tell the power of one load, or of two heated together."""
    return [name for name in METHODS if (name in OF_TWO_LOADS if count == 2 else name != "two-vessels")]


def misfit(method: str, loads: int) -> str:
    """Why a method does not go with so many loads, in words; "" when it does."""
    if method in of_loads(loads):
        return ""
    if loads == 2:
        return f"{method} heats one load; of two, {', '.join(OF_TWO_LOADS)} tell the power"
    return f"{method} heats two loads, one in each vessel, and one was given"


def useful_power(mass: float, specific_heat: float, rise: float, duration: float) -> float:
    """Useful power of a heating run, in watts: m c ΔT / t.

    Args:
        mass: load heated, kg, > 0.
        specific_heat: of that load, J/(kg K); its source travels with it.
        rise: last minus first temperature, K; stirred and settled.
        duration: energised time, s, > 0.

    Raises: ValueError, when mass or duration is not positive.
    Range: heat lost to vessel and air is not counted: a lower bound.
    Source: definition of specific heat capacity.

    >>> round(useful_power(1.000, 4184.0, 60.0, 180.0), 1)
    1394.7
    """
    if not (mass > 0.0 and duration > 0.0):
        raise ValueError("mass and duration must be above 0")
    return mass * specific_heat * rise / duration


def useful_power_uncertainty(
    mass: tuple[float, float],
    specific_heat: tuple[float, float],
    rise: tuple[float, float],
    duration: tuple[float, float],
) -> float:
    """Standard uncertainty of `useful_power`, W, from (value, standard uncertainty) of its independent factors."""
    power = useful_power(mass[0], specific_heat[0], rise[0], duration[0])
    return abs(power) * math.hypot(*(u / x for x, u in (mass, specific_heat, rise, duration)))


def quick(rise: Estimate, mass: Estimate = 1.0, duration: Estimate = 60.0) -> Estimate:
    """One litre, one minute, × 70 W/K; other masses (kg) and times (s) in proportion."""
    return 70.0 * rise * mass * 60.0 / duration


def not_met_two_litres(*, masses: Sequence[float], first: Sequence[float], seconds: float) -> list[str]:
    """What a run did not meet, or could not show, of the two-litre test's conditions (from memory); kg, °C, s."""
    told = []
    for place, mass, celsius in zip(("first", "second"), masses, first, strict=True):
        if abs(mass - 1.0) > 0.01:
            told.append(f"a litre in each vessel: {mass * 1000.0:.0f} g in the {place}")
        if abs(celsius - 20.0) > 2.0:
            told.append(f"water at 20 °C ± 2 °C before: was {celsius:.1f} °C in the {place}")
    if abs(seconds - 120.0 - USUAL_S) > 1.0:
        told.append(f"two minutes and 2 s: was {seconds:.1f} s")
    return [*told, "vessels that touch, in the middle of the oven: not shown"]


def iec_60705_manner(
    *, water_g: Estimate, vessel_g: float, rise: Estimate, over_room: Estimate, duration: Estimate
) -> Estimate:
    """Power, W, in the manner of IEC 60705 (clause 8, from memory; the water term also read in service manuals).

    Args:
        rise: T2 - T1, K; over_room: T2 - T0, K, negative in a warmer room and never clamped.
        duration: at full power, s; the generator's warm-up is not part of it.
    """
    return (4.187 * water_g * rise + 0.55 * vessel_g * over_room) / duration


def rounded_50(power: float) -> float:
    """Power rounded to 50 W, halves up (ISO 80000-1:2009 B.3, rule B), as IEC 60705 prints it."""
    return 50.0 * math.floor(power / 50.0 + 0.5)


def not_met_60705(*, water_g: float, first: float, last: float, room: float | None) -> list[str]:
    """What a run did not meet, or could not show, of IEC 60705's conditions; temperatures °C."""
    told = []
    if abs(water_g - 1000.0) > 5.0:
        told.append(f"load 1000 g ± 5 g: was {water_g:.0f} g")
    if abs(first - 10.0) > 2.0:
        told.append(f"water at 10 °C ± 2 °C before: was {first:.1f} °C")
    if abs(last - 20.0) > 2.0:
        told.append(f"water at 20 °C ± 2 °C after: was {last:.1f} °C")
    if room is None:
        told.append("room at 20 °C ± 5 °C: not measured")
    elif abs(room - 20.0) > 5.0:
        told.append(f"room at 20 °C ± 5 °C: was {room:.1f} °C")
    return [*told, "vessel of borosilicate glass, 190 mm wide, at most 3 mm thick, at room temperature: not shown",
            "oven cold for 6 h, rated voltage ± 1 %: not shown"]  # fmt: skip


def heat_up_time(power: float, mass: float, specific_heat: float, rise: float) -> float:
    """Time, s, for a rise at constant power: m c ΔT / P."""
    return mass * specific_heat * rise / power


def efficiency(useful_energy: float, electrical_energy: float) -> float:
    """Useful over electrical energy."""
    return useful_energy / electrical_energy
