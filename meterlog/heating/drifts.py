"""What the heater-off stretches tell of the exchange with the room."""

from __future__ import annotations

import math
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from meterlog.heating import exchange, fits
from meterlog.heating.exchange import Drift, Exchange

if TYPE_CHECKING:
    from meterlog.heating.balance import Load
    from meterlog.heating.periods import Plateau
    from meterlog.heating.stated import Stated


def learned(load: Load, room: Stated | None, *stretches: Plateau | None) -> Exchange:
    """The exchange with the room, from the drifts of the heater-off stretches and what is usual."""
    seen = [stretch for stretch in stretches if stretch is not None]
    capacity = load.capacity(max((stretch.line.level for stretch in seen), default=exchange.USUAL_ROOM))
    rough = [Drift(kelvin=s.line.level, slope=s.line.slope, u_slope=0.02 / (s.last - s.first)) for s in seen]
    known = exchange.learn(load.mass.value, capacity, room, rough)
    for _ in range(3):
        drifts = [drift_of(stretch, known, capacity) for stretch in seen]
        known = exchange.learn(load.mass.value, capacity, room, drifts)
    return known


def drift_of(stretch: Plateau, known: Exchange, capacity: float) -> Drift:
    """Mean temperature and slope there of a heater-off stretch, apart from the tail of a probe that still settles.

    A coarse display hides a slope of part of a step over the stretch's length, and a tail not over yet looks
    like one.
    """
    fit = straightened(stretch, known, capacity)
    length = stretch.last - stretch.first
    hidden = max(0.6 * stretch.readings.resolution, 0.01) / length
    tail = 0.5 * abs(fit.tail) * math.exp(-length / (4.0 * fit.lag)) / length if fit.lag else 0.0
    return Drift(kelvin=stretch.line.level, slope=fit.value, u_slope=math.hypot(fit.u_value, hidden, tail))


def straightened(stretch: Plateau, known: Exchange, capacity: float) -> fits.Settling:
    """The line through a stretch, with its tail, once the bend of its cooling is taken out by the exchange known."""
    readings = stretch.readings
    usual = known.loss(stretch.line.level)
    bends = [(known.loss(v) - usual) / capacity for v in readings.values]
    spans = zip(pairwise(bends), pairwise(readings.times), strict=True)
    steps = accumulate(((a + b) / 2.0 * (t1 - t0) for (a, b), (t0, t1) in spans), initial=0.0)
    return fits.fit_ramp(readings, [v + step for v, step in zip(readings.values, steps, strict=True)])
