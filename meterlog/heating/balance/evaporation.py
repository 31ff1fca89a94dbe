"""Heat that leaves with the steam: from the water weighed before and after, or by size when nobody weighed."""

from __future__ import annotations

from meterlog.heating import water

OPEN_AREA_PER_KG23 = 0.0284
"""m² of open surface for 1 kg, growing with mass^(2/3): the 190 mm cylinder of the microwave methods."""
ROOM_VAPOUR = 1170.0
"""Pa: air at 20 °C and 50 % relative humidity."""
POOL = 0.089
"""W/(m² Pa), still air over open water: the pool formula of the building trade, ± 50 % (from memory)."""


def open_area(mass: float) -> float:
    """Surface, m², of so many kg of water in an ordinary open vessel; common practice, no source."""
    return float(OPEN_AREA_PER_KG23 * mass ** (2.0 / 3.0))


def open_loss(kelvin: float, area: float) -> float:
    """Heat, W, that evaporation takes from an open surface of m² in still air: an order of magnitude, ± 50 %.

    Source: pool evaporation formula q = A (p_w - p_a) 0.089 with kW and kPa (from memory).
    """
    return max(area * (water.saturation_pressure(kelvin) - ROOM_VAPOUR) * POOL, 0.0)


def weighed_energy(before: float, first: float, after: float, last: float, vapour: float) -> float:
    """Heat, J, that took `before` kg at `first` K to `after` kg at `last` K, the rest gone as steam at `vapour` K.

    Q = m2 h(T2) - m1 h(T1) + (m1 - m2) h_g(T_v); T_v is nearer the hot end.
    Source: energy balance of an open system; exact for the temperatures given.
    """
    lost = before - after
    return after * water.enthalpy(last) - before * water.enthalpy(first) + lost * water.vapour_enthalpy(vapour)


def boil_off_power(lost: float, duration: float, kelvin: float) -> float:
    """Power, W, of an element that boils away `lost` kg in `duration` s; splashing makes it read high.

    Raises: ValueError when duration is not positive.
    """
    if not duration > 0.0:
        raise ValueError("the duration must be above 0 s")
    return lost * water.latent_heat(kelvin) / duration
