"""Heat exchanged with the room: what the drifts before and after heating tell, and what is known anyway.

The classical correction (Regnault and Pfaundler) is wholly from the two drifts. This is the same balance when a drift
is short, coarse or missing: it weighs the drifts against what an open vessel usually loses, so that a good
after-period decides and a poor one does no harm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.heating.balance.evaporation import open_area, open_loss
from meterlog.heating.trace import fits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.heating.stated import StatedValue

USUAL_CONDUCTANCE = 1.1
"""W/K for 1 kg in a vessel, growing with mass^(2/3); 0.5 to 2 W/K is usual (common practice, no source)."""
_CONDUCTANCE_DOUBT = 0.7
"""Standard uncertainty of its logarithm: within a factor of two, two times in three."""
USUAL_ROOM, _ROOM_DOUBT = 293.65, 2.9
"""K: a room nobody measured, 15.5 to 25.5 °C."""
_OPEN, _OPEN_DOUBT = 0.3, 0.25
"""Part of an open surface's evaporation that takes place: a lid 0, none 1; hot loads mostly have one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A heater-off period: mean temperature, K, and its fitted slope with standard uncertainty, K/s."""

    kelvin: float
    slope: float
    u_slope: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """The load's exchange with the room: conductance, W/K, effective room temperature, K, share of open evaporation.

    `spread` is the lower triangle of the covariance of the three: their errors are its columns.
    """

    conductance: float
    room: float
    evaporation: float
    area: float
    spread: tuple[tuple[float, ...], ...]

    def loss(self, kelvin: float) -> float:
        """Heat leaving the load at a temperature, W; negative when the room warms it."""
        newton = self.conductance * (kelvin - self.room)
        return newton + self.evaporation * open_loss(kelvin, self.area)

    def doubt_of(self, slopes: Sequence[float]) -> float:
        """Standard uncertainty of a result with these slopes over (conductance, room, evaporation)."""
        columns = zip(*self.spread, strict=True)
        return math.hypot(*(sum(s * c for s, c in zip(slopes, column, strict=True)) for column in columns))

    def slopes(self, kelvin: float) -> tuple[float, float, float]:
        """d(loss)/d(conductance), d/d(room), d/d(evaporation) at a temperature."""
        return kelvin - self.room, -self.conductance, open_loss(kelvin, self.area)


def agreed(mass: float, capacity: float, ambient: StatedValue | None, drifts: Sequence[Drift]) -> Exchange:
    """The exchange that agrees best with the drifts and with what is usual.

    Least squares with prior knowledge (three unknowns, a row for each and for each drift).

    Args:
        mass: water, kg; capacity: of load and vessel, J/K.
        ambient: of the room, K; None when nobody measured it.
    """
    area = open_area(mass)
    usual = math.log(USUAL_CONDUCTANCE * mass ** (2.0 / 3.0))
    measured = (ambient.value, max(ambient.standard_uncertainty, 0.1)) if ambient else (USUAL_ROOM, _ROOM_DOUBT)
    known = [(usual, _CONDUCTANCE_DOUBT), measured, (_OPEN, _OPEN_DOUBT)]
    x = _agreed(known, area, capacity, drifts)
    if x[2] < 0.0:  # less than no evaporation: there is none
        known[2] = (0.0, 0.01)
        x = _agreed(known, area, capacity, drifts)
    low = fits.cholesky(fits.inverse(_normal(x, known, area, capacity, drifts)[0]))
    conductance = math.exp(x[0] + low[0][0] ** 2 / 2.0)  # the mean of what is believed: the logarithm's is its median
    spread = (tuple(conductance * part for part in low[0]), tuple(low[1]), tuple(low[2]))
    return Exchange(conductance=conductance, room=x[1], evaporation=x[2], area=area, spread=spread)


def _agreed(known: list[tuple[float, float]], area: float, capacity: float, drifts: Sequence[Drift]) -> list[float]:
    """(ln conductance, room, evaporation) that agree best, by Gauss and Newton with steps kept short."""
    x = [mean for mean, _ in known]
    for _ in range(40):
        step = fits.solve(*_normal(x, known, area, capacity, drifts))
        x = [value + min(max(s, -most), most) for value, s, most in zip(x, step, (0.5, 3.0, 0.5), strict=True)]
        if max(map(abs, step)) < 1e-9:
            break
    return x


def _normal(
    x: list[float], known: list[tuple[float, float]], area: float, capacity: float, drifts: Sequence[Drift]
) -> tuple[fits.Matrix, list[float]]:
    """Normal equations of a step from x = (ln conductance, room, evaporation)."""
    matrix = [[0.0] * 3 for _ in range(3)]
    right = [0.0] * 3
    for i, (mean, doubt) in enumerate(known):
        matrix[i][i] += 1.0 / doubt**2
        right[i] += (mean - x[i]) / doubt**2
    for drift in drifts:
        conductance, open_ = math.exp(x[0]), open_loss(drift.kelvin, area)
        newton = conductance * (drift.kelvin - x[1])
        slopes = (newton, -conductance, open_)
        missing = -capacity * drift.slope - newton - x[2] * open_
        weight = 1.0 / (capacity * drift.u_slope) ** 2
        for i in range(3):
            right[i] += slopes[i] * missing * weight
            for j in range(3):
                matrix[i][j] += slopes[i] * slopes[j] * weight
    return matrix, right
