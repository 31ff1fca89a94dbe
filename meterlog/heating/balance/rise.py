"""Power from the rise over the time, when it is known when the load was heated."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import accumulate, pairwise
from statistics import fmean
from typing import TYPE_CHECKING

from meterlog.heating import water
from meterlog.heating.balance import exchange
from meterlog.heating.balance.drifts import exchange_of
from meterlog.heating.balance.found import LoadBalance
from meterlog.heating.balance.load import End, Load, Shared, display_half_step, exchange_error, useful_energy
from meterlog.heating.balance.steady import why_not_steady
from meterlog.heating.times.heating import Pause
from meterlog.heating.trace import fits, immersion, periods
from meterlog.heating.trace.periods import NotFound, Plateau

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from meterlog.heating.balance.exchange import Exchange
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.times.heating import Heating
    from meterlog.heating.trace.columns import LoggedQuantity

IN_LOAD = 0.2
"""Readings during heating that follow the straight rise within this part of it were taken in the load."""
PROBE_LAG_S = 15.0
"""A slower approach than this, s, is the load's own (an element that gives off its heat), not a probe's."""
SLOWEST_SEEN = 3.0 * periods.STILL_K_PER_S
"""K/s: a rise no faster is not told from a pause by its slope over a few seconds."""
EDGE_S = 3.0
"""Doubt, s, of where a pause in the rise begins and ends (a judgement)."""
JUST_S = 20.0
"""So long before heating a load that the probe stands in does not warm yet, s."""
SETTLED = 0.01
"""A tail still left at the end of a plateau may be this part of the rise, or one step of the display."""


def by_rise(
    temperature: LoggedQuantity, load: Load, room: StatedValue | None, heating: Heating, said: Collection[str] = (),
    beside: LoggedQuantity | None = None,
) -> LoadBalance | NotFound:  # fmt: skip
    """The heat balance between the still stretches before and after heating.

    Args:
        said: of BEFORE and AFTER, when the person stirred with the probe in the load, and says so.
        beside: of the other vessel, where one probe is carried between two.
    """
    guess = room.value if room else exchange.USUAL_ROOM
    befores = _all(periods.before_heating, temperature, (-math.inf, heating.start), guess)
    afters = _all(periods.after_heating, temperature, (heating.stop, math.inf), guess)
    if isinstance(befores, NotFound):
        return befores
    if isinstance(afters, NotFound):
        return afters
    refused: list[NotFound] = []
    for before in sorted(befores, key=lambda stretch: -stretch.last):
        for after in afters:
            if stood_in_load(temperature, heating, before.line.level, after.line.level):
                fell = immersion.fell(temperature.between(heating.start, heating.stop), before.line.level)
                inside, followed = replace(heating, in_load=True), (immersion.FOLLOWED,)
                return fell or _between(temperature, load, room, inside, (before, after), followed)
    outside = replace(heating, in_load=False)
    air = immersion.air_about(temperature, heating.start, heating.stop, guess)
    before, *_ = _farthest(befores, air)
    pairs = [(before, after) for after in _farthest(afters, air)]
    for word in ((), said) if said else ((),):
        for pair in pairs:
            shown = _shown(temperature, pair, outside, room, word, beside)
            if not isinstance(shown, NotFound):
                return _between(temperature, load, room, outside, pair, shown)
            refused.append(shown)
    return refused[0]


def _farthest(stretches: list[Plateau], air: float) -> list[Plateau]:
    """The stretches by how far their level is from the air's, K: a probe out of the load reads that of the air."""
    return sorted(stretches, key=lambda stretch: -abs(stretch.line.level - air))


def _all(
    find: Callable[[LoggedQuantity, float, float], Plateau | NotFound], temperature: LoggedQuantity,
    span: tuple[float, float], room: float,
) -> list[Plateau] | NotFound:  # fmt: skip
    """All the still stretches in a span, the likeliest first; why there is none."""
    out: list[Plateau] = []
    edge = span[0] if math.isfinite(span[0]) else span[1]
    while not isinstance(one := find(temperature, edge, room), NotFound):
        out.append(one)
        left, right = (one.first, one.last) if find is periods.before_heating else (span[0], one.last)
        temperature = temperature.without(left, right + 1e-9)
    return out or one


def _between(
    temperature: LoggedQuantity, load: Load, room: StatedValue | None, heating: Heating, stood: tuple[Plateau, Plateau],
    shown: tuple[str, ...],
) -> LoadBalance | NotFound:  # fmt: skip
    """The balance between two still stretches that are shown to be the load's."""
    before, after = stood
    known = exchange_of(load, room, before, after)
    first, _ = end_of(before, load, known, heating.start, "before")
    last, tail = end_of(after, load, known, heating.stop, "after")
    rise = last.kelvin - first.kelvin
    if not (water.is_liquid(first.kelvin) and water.is_liquid(last.kelvin)):
        return not_settled(tail)
    if rise < max(1.0, 5.0 * temperature.resolution):
        return NotFound(
            what="rise", why=f"the load warmed by only {rise:.2f} K", advice="heat longer, or a smaller load"
        )
    unsteady = why_not_steady(before, after, load, room, rise, in_load=heating.in_load)
    if unsteady is not None:
        return unsteady
    if abs(tail) > max(SETTLED * rise, 2.0 * temperature.resolution):
        return not_settled(tail)
    lost, slopes = exchanged(temperature, heating, known, before, after, first, last)
    shared = Shared()
    energy = useful_energy(load, first, last, lost, shared) + exchange_error(known, slopes)
    energy = energy + known.conductance * heating.duration * shared.offset
    if heating.in_load and not heating.on:
        heating = replace(heating, pauses=paused(temperature, heating, known.room, rise))
    return LoadBalance(
        heating=heating, energy=energy, first=first, last=last, exchange=known, lost=lost, before=before, after=after,
        in_load=shown,
    )  # fmt: skip


def _shown(
    temperature: LoggedQuantity, stood: tuple[Plateau, Plateau], heating: Heating, room: StatedValue | None,
    said: Collection[str], beside: LoggedQuantity | None,
) -> tuple[str, ...] | NotFound:  # fmt: skip
    """What shows that both stretches were read in the load, by a probe that was out meanwhile; or the refusal."""
    told: list[str] = []
    span = (heating.start, heating.stop)
    for side, stretch in zip(immersion.SIDES, stood, strict=True):
        other = _other(beside, side, heating, room) if beside is not None else None
        level = stood[0].line.level if told else None
        one = immersion.shown(side, temperature, stretch, span, room, level, said=side in said, other=other)
        if isinstance(one, NotFound):
            return one
        told.append(one)
    return tuple(told)


def _other(beside: LoggedQuantity, side: str, heating: Heating, room: StatedValue | None) -> Plateau | None:
    guess = room.value if room else exchange.USUAL_ROOM
    if side == immersion.BEFORE:
        stretch = periods.before_heating(beside, heating.start, guess)
    else:
        stretch = periods.after_heating(beside, heating.stop, guess)
    return None if isinstance(stretch, NotFound) else stretch


def not_settled(tail: float) -> NotFound:
    """The refusal of a plateau that has not formed; `tail` is what is still missing (negative) or too much, K."""
    why = f"still {'rising' if tail < 0 else 'falling'} towards a level {abs(tail):.2f} K away at the end: no plateau"
    return NotFound(what="plateau", why=why, advice="stir, and go on logging until the temperature stands for 30 s")


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
    temperature: LoggedQuantity,
    heating: Heating,
    known: Exchange,
    before: Plateau,
    after: Plateau,
    first: End,
    last: End,
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


def _path(temperature: LoggedQuantity, heating: Heating, first: End, last: End) -> list[tuple[float, float]]:
    """The load's temperature while heating: of the trace where the probe saw it, else a straight rise."""
    ends = [(heating.start, first.kelvin), (heating.stop, last.kelvin)]
    if heating.in_load:
        inside = temperature.between(heating.start, heating.stop)
        return [ends[0], *zip(inside.times, inside.values, strict=True), ends[1]]
    n = 20
    rise = last.kelvin - first.kelvin
    return [(heating.start + heating.duration * k / n, first.kelvin + rise * k / n) for k in range(n + 1)]


def stood_in_load(temperature: LoggedQuantity, heating: Heating, first: float, last: float) -> bool:
    """Whether readings during heating follow the rise from first to last, K, as a probe in the load would.

    Heated at one power or not at all, a load rises at one rate or stands. A probe that drifts to the temperature of
    the air may come to the same place, at a rate that dies away.
    """
    inside = temperature.between(heating.start, heating.stop)
    late = inside.between(heating.start + 0.25 * heating.duration, heating.stop)
    rise = last - first
    if len(late) < 4 or late.times[0] > heating.start + 0.6 * heating.duration or rise <= 0.0:
        return False
    if _rose_before(temperature, heating.start, rise / heating.duration):
        return False
    off = [
        v - first - rise * (t - heating.start) / heating.duration for t, v in zip(late.times, late.values, strict=True)
    ]
    behind = min(max(fmean(off), -2.0 * IN_LOAD * rise), 0.0)  # as a lag of the probe holds all of the rise back
    spread = math.sqrt(math.fsum((x - behind) ** 2 for x in off) / len(off))
    slope = fits.fit_line(late.times, late.values).slope * heating.duration / rise
    apart = spread if behind == 0.0 or slope > 0.7 else math.sqrt(math.fsum(x * x for x in off) / len(off))
    return apart < IN_LOAD * rise and _at_one_rate(inside)


def _rose_before(temperature: LoggedQuantity, start: float, rate: float) -> bool:
    """Whether readings rose already before heating, at a good part of the rate (K/s) of heating: a load does not."""
    ahead = temperature.between(start - JUST_S, start - EDGE_S)
    if len(ahead) < 4:
        return False
    line = fits.fit_line(ahead.times, ahead.values)
    return line.slope - 2.0 * line.u_slope > 0.3 * rate


def _at_one_rate(inside: LoggedQuantity) -> bool:
    """Whether a rise does not die away: it goes on to its end, or goes at its own rate for a while and else stands.

    Of eight stretches one may lie across a change of the two, and two when the rise was taken up again.
    """
    count = 8 if len(inside) >= 24 else 4
    edges = [len(inside) * k // count for k in range(count)] + [len(inside) - 1]
    rates = [
        (inside.values[b] - inside.values[a]) / (inside.times[b] - inside.times[a]) for a, b in pairwise(edges) if b > a
    ]
    top = max(rates)
    rises = [rate > 0.7 * top for rate in rates]
    stands = [rate < 0.2 * top for rate in rates]
    between = len(rates) - sum(rises) - sum(stands)
    again = any(stands[i] and any(rises[i:]) for i in range(len(rates)))
    goes_on = all(rises[-2:])
    return top > 0.0 and (goes_on or (sum(rises) >= 3 * count // 8 and between <= (2 if again else 1) * count // 8))


def paused(temperature: LoggedQuantity, heating: Heating, room: float, rise: float) -> tuple[Pause, ...]:
    """Where the load stood still while it was said to be heated: a thermostat's pauses, and a cut-out before the end.

    The window that a still stretch is looked for with hides a part of itself at either edge.
    """
    margin, mean = 0.1 * heating.duration, rise / heating.duration
    if mean < SLOWEST_SEEN:
        return ()
    still = periods.still_stretches(temperature.between(heating.start + margin, heating.stop), room)
    doubt, hidden = math.hypot(EDGE_S, temperature.interval), 0.6 * periods.reach_of(temperature)
    return tuple(
        Pause(first=s.times[0] - hidden, last=min(s.times[-1] + hidden, heating.stop), u=doubt)
        for s in still
        if fits.fit_line(s.times, s.values).slope < 0.2 * mean
    )
