"""Whether a still stretch after heating is a plateau of a stirred load, or only looks still."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.heating.balance.drifts import drift_of, exchange_of, straightened
from meterlog.heating.balance.evaporation import open_loss
from meterlog.heating.trace.periods import NotFound

if TYPE_CHECKING:
    from meterlog.heating.balance.exchange import Drift, Exchange
    from meterlog.heating.balance.load import Load
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.trace.periods import Plateau

SCATTER_K = 0.12
"""Scatter of a plateau that is always allowed; else two counts, or three times the scatter before heating."""
MOST_CONDUCTANCE = 12.0
"""W/K that 1 kg may lose to the room, growing with mass^(2/3): above, it is the load that is not mixed."""
FAR = 4.0
"""Standard deviations of the logarithm of the conductance, above which a drift is not believed."""
LAYERS = 0.025
"""A level that the readings fall to may lie this part of the rise below, or half a kelvin: a vessel that follows
adds half its share of the heat."""
SLOW_S = 24.0
"""A probe put into a stirred load settles faster than this, s: a 6 mm sheath in 8 to 15 s, half as long again when
held still (common practice, no source)."""

STIR = "stir for ten seconds, hold the probe at mid depth, and repeat the run"


def why_not_steady(
    before: Plateau | None, after: Plateau, load: Load, room: StatedValue | None, rise: float, *, in_load: bool
) -> NotFound | None:
    """The reason why a stretch is no plateau, or None.

    Args:
        room: temperature of the room, K; rise: of the run, K.
        in_load: the probe was there while heating, so that a slow rise may be the element's own heat.
    """
    capacity = load.capacity(after.line.level)
    known = exchange_of(load, room, before, after)
    fit = straightened(after, known, capacity)
    usual = straightened(before, known, capacity).scatter if before else 0.0
    if fit.scatter > max(SCATTER_K, 2.0 * after.readings.resolution, 3.0 * usual):
        return _not_stirred(f"readings scatter by {fit.scatter:.2f} K")
    coarse = 4.0 * after.readings.resolution
    if (
        fit.tail > max(0.5, coarse, (LAYERS + load.vessel.capacity / (2.0 * capacity)) * rise)
        and fit.lag > SLOW_S / 2.0
    ):
        return _not_stirred(f"the temperature falls by {fit.tail:.1f} K within {2.0 * fit.lag:.0f} s")
    if -fit.tail > max(0.3, coarse) and fit.lag > SLOW_S and not in_load:
        return _not_stirred(
            f"the temperature rises by {-fit.tail:.1f} K within {2.0 * fit.lag:.0f} s, slower than a probe"
        )
    return _implausible(drift_of(after, known, capacity), exchange_of(load, room, before), load, in_load=in_load)


def _implausible(drift: Drift, expected: Exchange, load: Load, *, in_load: bool) -> NotFound | None:
    """A drift that the room cannot account for, given what the drift before heating and ordinary vessels lose.

    Where a probe saw the load throughout, a large loss shows in its ramp too, and is believed sooner.
    """
    capacity = load.capacity(drift.kelvin)
    far, most = (FAR, MOST_CONDUCTANCE) if in_load else (FAR / 2.0, MOST_CONDUCTANCE / 2.0)
    flow, doubt = -capacity * drift.slope, 3.0 * capacity * drift.u_slope + 15.0
    above = drift.kelvin - expected.room
    if flow < min(expected.conductance * above, 0.0) - doubt:
        why = f"still rising by {drift.slope:.3f} K/s: no plateau"
        return NotFound(what="plateau", why=why, advice="stir, and go on logging until the temperature stands for 30 s")
    size = load.mass.value ** (2.0 / 3.0)
    steam = open_loss(drift.kelvin, expected.area)
    wide = min(math.exp(far * expected.spread[0][0] / expected.conductance) * expected.conductance, most * size)
    if flow > wide * max(above, 0.0) + steam + doubt:
        return _not_stirred(f"the temperature falls by {-drift.slope:.3f} K/s, faster than this load cools")
    return None


def _not_stirred(what: str) -> NotFound:
    return NotFound(what="plateau", why=f"the load was not stirred, or the probe not held still: {what}", advice=STIR)
