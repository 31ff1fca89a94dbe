"""How round the corners of a ramp are: by how much readings, load and heater lag where heating begins and ends.

A heater with heat of its own (a plate, a thick base) and a probe each delay the rise. Whatever the heater
took up at the start it gives back after the end, when the load stays with it: both corners are then round
alike, and the ramp's line meets both levels late by the same delay. When the load leaves the heater, the
end is as sharp as the probe, and the load never got what the heater kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.heating.trace import fits

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from meterlog.heating.trace.columns import LoggedQuantity

_SHORTEST_S, _STEP, _COUNT = 0.25, 1.25, 27
"""Delays tried: 0.25 s to 83 s, then finer about the best."""
_SHARES = (0.0, 0.15, 0.3, 0.5)
"""Part of the delay that the faster of two lags makes: 0 for one lag alone, 0.5 for two alike."""
SHAPE = 0.06
"""Standard uncertainty of a delay, part of it: heater, vessel and probe are more than two lags (two are fitted)."""
KEPT_S = 4.0
"""A heater that keeps less than so many seconds' heat is not told from a probe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """How late the straight line meets the level, s, with its standard uncertainty."""

    seconds: float
    u: float


def delay_of(bend: LoggedQuantity, slope: float, meet: float) -> Delay:
    """The delay of a corner by its shape.

    Args:
        bend: by how much readings have left what they followed before the corner, K, about it.
        slope: with which they leave it in the end, K/s.
        meet: where the two straight lines meet, s.
    """
    seen = fits.thinned(bend.times, bend.values, 60)

    def tried(delays: Iterable[float]) -> list[tuple[float, float]]:
        return [(_square(*seen, slope, meet, d, share), d) for d in delays for share in _SHARES]

    coarse = tried(_SHORTEST_S * _STEP**n for n in range(_COUNT))
    best = min(coarse)[1]
    fine = coarse + tried(best * _STEP ** (k / 4.0) for k in (-3, -2, -1, 1, 2, 3))
    least = min(fine)[0]
    noise = max(least / max(len(seen[0]) - 2, 1), (0.3 * bend.resolution) ** 2, 1e-8)
    chances = [(math.exp(-0.5 * (square - least) / noise) * _apart(d, best), d) for square, d in fine]
    total = math.fsum(chance for chance, _ in chances)
    mean = math.fsum(chance * d for chance, d in chances) / total
    spread = math.fsum(chance * (d - mean) ** 2 for chance, d in chances) / total
    return Delay(seconds=mean, u=math.hypot(math.sqrt(spread), SHAPE * mean))


def _apart(delay: float, best: float) -> float:
    """How far the delays tried about this one lie apart, s, but for a factor: four times finer about the best."""
    return delay / (4.0 if abs(math.log(delay / best)) < 0.99 * math.log(_STEP) else 1.0)


def _square(
    times: Sequence[float], values: Sequence[float], slope: float, meet: float, delay: float, share: float
) -> float:
    fast, slow = share * delay, (1.0 - share) * delay
    return math.fsum(
        (value - slope * _left(t - meet + delay, fast, slow)) ** 2 for t, value in zip(times, values, strict=True)
    )


def _left(since: float, fast: float, slow: float) -> float:
    """Two first-order lags in a row behind a ramp of slope 1 that began `since` s ago; both alike, or one 0."""
    if since <= 0.0:
        return 0.0
    if fast == slow:
        return since - 2.0 * slow + (since + 2.0 * slow) * math.exp(-since / slow)
    tails = slow * slow * math.exp(-since / slow) - (fast * fast * math.exp(-since / fast) if fast else 0.0)
    return since - slow - fast + tails / (slow - fast)


def heat_kept(start: Delay, stop: Delay) -> Delay | None:
    """Seconds' worth of heat that the heater kept, by corners that are not alike; None when they are.

    Where the corners can't tell it from nothing, half of it is taken, with all of it and nothing one u away.
    """
    seconds, u = start.seconds - stop.seconds, math.hypot(start.u, stop.u)
    if seconds < KEPT_S:
        return None
    return Delay(seconds=seconds, u=u) if seconds > 2.0 * u else Delay(seconds=seconds / 2.0, u=seconds / 2.0)
