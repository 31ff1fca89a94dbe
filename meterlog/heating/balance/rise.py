"""Power from the rise over the time, when it is known when the load was heated."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from meterlog.heating.balance import exchange
from meterlog.heating.balance.drifts import learned
from meterlog.heating.balance.found import Found
from meterlog.heating.balance.load import End, Load, Shared, display_half_step, exchange_error, useful_energy
from meterlog.heating.balance.steady import why_not_steady
from meterlog.heating.trace import fits, periods
from meterlog.heating.trace.periods import Plateau, Refused

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.exchange import Exchange
    from meterlog.heating.stated import Stated
    from meterlog.heating.times.heating import Heating
    from meterlog.heating.trace.columns import Series

IN_LOAD = 0.2
"""Readings during heating that follow the straight rise within this part of it were taken in the load."""
PROBE_LAG_S = 15.0
"""A slower approach than this, s, is the load's own (an element that gives off its heat), not a probe's."""
LIKE_AIR_K = 4.0
"""Water so near the room's temperature may have its plateau begin with readings of the air: they are dropped."""
SETTLED = 0.01
"""A tail still left at the end of a plateau may be this part of the rise, or one step of the display."""


def by_rise(
    temperature: Series, load: Load, room: Stated | None, heating: Heating, duration: Estimate
) -> Found | Refused:
    """The heat balance between the still stretches before and after heating."""
    guess = room.value if room else exchange.USUAL_ROOM
    before = periods.before_heating(temperature, heating.start, guess)
    if isinstance(before, Refused):
        return before
    after = periods.after_heating(temperature, heating.stop, guess)
    if isinstance(after, Refused):
        return after
    known = learned(load, room, before, after)
    first, _ = end_of(before, load, known, heating.start, "before")
    last, tail = end_of(after, load, known, heating.stop, "after")
    rise = last.kelvin - first.kelvin
    if rise < max(1.0, 5.0 * temperature.resolution):
        return Refused(
            what="rise", why=f"the load warmed by only {rise:.2f} K", advice="heat longer, or a smaller load"
        )
    inside = temperature.between(heating.start, heating.stop)
    heating = replace(heating, in_load=stood_in_load(inside, heating, first.kelvin, last.kelvin))
    unsteady = why_not_steady(before, after, load, room, rise, in_load=heating.in_load)
    if unsteady is not None and abs(last.kelvin - guess) < LIKE_AIR_K and after.last - after.first > 30.0:
        return by_rise(temperature.without(after.first, after.first + 10.0), load, room, heating, duration)
    if unsteady is not None:
        return unsteady
    if abs(tail) > max(SETTLED * rise, 2.0 * temperature.resolution):
        return not_settled(tail)
    lost, slopes = exchanged(temperature, heating, known, before, after, first, last)
    shared = Shared()
    energy = useful_energy(load, first, last, lost, shared) + exchange_error(known, slopes)
    energy = energy + known.conductance * heating.duration * shared.offset
    return Found(
        heating=heating, power=energy / duration, energy=energy, first=first, last=last, exchange=known, lost=lost,
        duration=duration, before=before, after=after,
    )  # fmt: skip


def not_settled(tail: float) -> Refused:
    """The refusal of a plateau that has not formed; `tail` is what is still missing (negative) or too much, K."""
    why = f"still {'rising' if tail < 0 else 'falling'} towards a level {abs(tail):.2f} K away at the end: no plateau"
    return Refused(what="plateau", why=why, advice="stir, and go on logging until the temperature stands for 30 s")


def end_of(stretch: Plateau, load: Load, known: Exchange, moment: float, name: str) -> tuple[End, float]:
    """The load's temperature at a moment, carried there along the loss to the room; and the tail left at the end.

    Of a cooling load a lagging probe shows what was a lag ago.
    """
    readings = stretch.readings
    capacity = load.capacity(stretch.line.level)
    cooled = _cooled_since(moment, stretch, known, capacity)
    carried = [v + fall for v, fall in zip(readings.values, cooled, strict=True)]
    fit = fits.fit_level(readings, carried)
    drift = cooled[-1] - cooled[0]
    cooling = known.loss(stretch.line.level) / capacity
    half_step = display_half_step(readings.resolution, fit.scatter, drift)
    behind = cooling * fit.lag if fit.tail < 0.0 and fit.lag < PROBE_LAG_S else 0.0
    return End(kelvin=fit.value - behind, u_fit=fit.u_value, worth=fit.worth, half_step=half_step, name=name), fit.left


def _cooled_since(moment: float, stretch: Plateau, known: Exchange, capacity: float) -> list[float]:
    """By how much the load has cooled since a moment, K, at each reading; negative before it."""
    readings = stretch.readings
    rates = [known.loss(v) / capacity for v in readings.values]
    spans = zip(pairwise(rates), pairwise(readings.times), strict=True)
    fallen = list(accumulate(((a + b) / 2.0 * (t1 - t0) for (a, b), (t0, t1) in spans), initial=0.0))
    near, so_far = (stretch.first, 0.0) if moment <= stretch.first else (stretch.last, fallen[-1])
    if stretch.first < moment < stretch.last:
        near, so_far = moment, next(f for t, f in zip(readings.times, fallen, strict=True) if t >= moment)
    edge = stretch.line.at(near)
    halfway = edge - known.loss(edge) / capacity * (moment - near) / 2.0
    at_moment = so_far + known.loss(halfway) / capacity * (moment - near)
    return [fall - at_moment for fall in fallen]


def exchanged(
    temperature: Series, heating: Heating, known: Exchange, before: Plateau, after: Plateau, first: End, last: End
) -> tuple[float, tuple[float, float, float]]:
    """Heat lost while heating, J, and the slopes of all that the balance owes to the exchange."""
    path = _path(temperature, heating, first, last)
    lost, slopes = 0.0, [0.0, 0.0, 0.0]
    for (t0, a), (t1, b) in pairwise(path):
        middle = (a + b) / 2.0
        lost += known.loss(middle) * (t1 - t0)
        for i, slope in enumerate(known.slopes(middle)):
            slopes[i] += slope * (t1 - t0)
    ends = [(heating.start - before.line.middle, first.kelvin), (after.line.middle - heating.stop, last.kelvin)]
    for wait, kelvin in ends:
        for i, slope in enumerate(known.slopes(kelvin)):
            slopes[i] += slope * wait
    return lost, (slopes[0], slopes[1], slopes[2])


def _path(temperature: Series, heating: Heating, first: End, last: End) -> list[tuple[float, float]]:
    """The load's temperature while heating: of the trace where the probe saw it, else a straight rise."""
    ends = [(heating.start, first.kelvin), (heating.stop, last.kelvin)]
    if heating.in_load:
        inside = temperature.between(heating.start, heating.stop)
        return [ends[0], *zip(inside.times, inside.values, strict=True), ends[1]]
    n = 20
    rise = last.kelvin - first.kelvin
    return [(heating.start + heating.duration * k / n, first.kelvin + rise * k / n) for k in range(n + 1)]


def stood_in_load(inside: Series, heating: Heating, first: float, last: float) -> bool:
    """Whether readings during heating follow the rise from first to last, K, as a probe in the load would."""
    late = inside.between(heating.start + 0.25 * heating.duration, heating.stop)
    if len(late) < 3 or late.times[0] > heating.start + 0.6 * heating.duration:
        return False
    rise = last - first
    off = [
        v - first - rise * (t - heating.start) / heating.duration for t, v in zip(late.times, late.values, strict=True)
    ]
    return math.sqrt(math.fsum(x * x for x in off) / len(off)) < IN_LOAD * rise
