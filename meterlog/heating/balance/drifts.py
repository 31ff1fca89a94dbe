"""What the heater-off stretches tell of the exchange with the room."""

from __future__ import annotations

import math
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from meterlog.heating.balance import exchange
from meterlog.heating.balance.exchange import Drift, Exchange
from meterlog.heating.trace import fits

if TYPE_CHECKING:
    from meterlog.heating.balance.load import Load
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.trace.periods import Plateau


SOAKS_S = 60.0
"""Time constant, s, of what follows the water late: a plastic wall (2.5 mm: L²/D = 60 s), a dry steel wall, a lid."""
SOAKED = 0.35
"""The part of what a vessel may take up late that it is taken to: the rest, either way, is doubt (a judgement)."""
FILLED = 0.3
"""The part of a vessel at room temperature that may not have met its water yet before heating (a judgement)."""
UNSTATED = 0.003
"""Part of the load's heat that a vessel nobody stated may still take up: common practice, no source."""


def exchange_of(load: Load, room: StatedValue | None, *stretches: Plateau | None) -> Exchange:
    """The exchange with the room, from the drifts of the heater-off stretches and what is usual.

    A vessel that still follows the water makes a drift too, which is not the room's: it is part of the doubt.
    """
    seen = [stretch for stretch in stretches if stretch is not None]
    capacity = load.capacity(max((stretch.line.level for stretch in seen), default=exchange.USUAL_ROOM))
    rough = [Drift(kelvin=s.line.level, slope=s.line.slope, u_slope=0.02 / (s.last - s.first)) for s in seen]
    known = exchange.agreed(load.mass.value, capacity, room, rough)
    for _ in range(3):
        drifts = [
            drift_of(stretch, known, capacity, soak)
            for stretch, soak in zip(seen, _soaks(load, known, seen, capacity), strict=True)
        ]
        known = exchange.agreed(load.mass.value, capacity, room, drifts)
    return known


def _soaks(load: Load, known: Exchange, seen: list[Plateau], capacity: float) -> list[float]:
    """By how much, K, a vessel may still change its load in each stretch: one filled with cold water is warm itself."""
    stated, levels = load.vessel.pieces, [stretch.line.level for stretch in seen]
    late = load.vessel.late / capacity if stated else UNSTATED
    filled = FILLED * load.vessel.capacity / capacity if stated else UNSTATED
    shares = [filled, late] if len(seen) > 1 else [late]
    vessel_was = [known.room, *levels]
    return [share * (level - was) for share, level, was in zip(shares, levels, vessel_was, strict=False)]


def drift_of(stretch: Plateau, known: Exchange, capacity: float, soak: float = 0.0) -> Drift:
    """Mean temperature and slope there of a heater-off stretch, apart from the tail of a probe that still settles.

    A coarse display hides a slope of part of a step over the stretch's length, and a tail not over yet looks
    like one; so does a vessel that may still change the load by `soak` K.
    """
    fit = straightened(stretch, known, capacity)
    length = stretch.last - stretch.first
    hidden = max(0.6 * stretch.readings.resolution, 0.01) / length
    tail = 0.5 * abs(fit.tail) * math.exp(-length / (4.0 * fit.lag)) / length if fit.lag else 0.0
    vessel = soak * -math.expm1(-length / SOAKS_S) / length
    return Drift(
        kelvin=stretch.line.level,
        slope=fit.value + SOAKED * vessel,
        u_slope=math.hypot(fit.u_value, hidden, tail, (1.0 - SOAKED) * vessel),
    )


def straightened(stretch: Plateau, known: Exchange, capacity: float) -> fits.SettlingFit:
    """The line through a stretch, with its tail, once the bend of its cooling is taken out by the exchange known."""
    readings = stretch.readings
    usual = known.loss(stretch.line.level)
    bends = [(known.loss(v) - usual) / capacity for v in readings.values]
    spans = zip(pairwise(bends), pairwise(readings.times), strict=True)
    steps = accumulate(((a + b) / 2.0 * (t1 - t0) for (a, b), (t0, t1) in spans), initial=0.0)
    return fits.fit_ramp(readings, [v + step for v, step in zip(readings.values, steps, strict=True)])
