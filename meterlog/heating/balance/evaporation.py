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
