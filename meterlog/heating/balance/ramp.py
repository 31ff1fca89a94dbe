"""Power from the straight part of the rise, when the probe stood in the load throughout.

The lag of a probe or an element delays the whole ramp alike, so its slope, and the time between
where its line meets the levels before and after, are free of it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import Error, estimate, nominal, rectangle
from meterlog.heating import water
from meterlog.heating.balance import exchange
from meterlog.heating.balance.drifts import exchange_of
from meterlog.heating.balance.found import Along, LoadBalance
from meterlog.heating.balance.load import MIXING, End, Load, Shared, exchange_error, ramp_power
from meterlog.heating.balance.rise import end_of, not_settled
from meterlog.heating.balance.steady import why_not_steady
from meterlog.heating.times.corners import Delay, delay_of, heat_kept
from meterlog.heating.times.heating import Heating
from meterlog.heating.trace import fits, periods
from meterlog.heating.trace.immersion import FOLLOWED
from meterlog.heating.trace.periods import NotFound, Plateau, Ramp

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.exchange import Exchange
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.trace.columns import LoggedQuantity

BOILING = 95.5 + water.ZERO_CELSIUS
"""From here a level after heating may be boiling (1500 m above the sea), and tells no rise."""
NEAR_BOILING = 90.0 + water.ZERO_CELSIUS
"""Up to here a ramp on its way to boiling is used: above, steam and bubbles take their share."""

RAMP = "ramp of the trace"
CROOKED = 0.02
"""Readings may scatter by this part of the rise about its line: pauses of a part-power level do."""
SLOWEST_PROBE_S = 20.0
"""An approach to the plateau slower than this is the load's own, not the probe's."""
MOST_BENT = 0.1
"""A ramp of which a lag may bend more than this part is refused."""
KEPT = "heat that the heater kept"
HEAVY_S = 7.0
"""A delay of the corners above this, s, is more than a probe's: a plate's or thick base's (a judgement)."""
LONGEST_CORNER_S = 180.0
"""So far from where the lines meet a corner is looked at."""
VESSEL_FOLLOWS_S = 15.0
"""Doubt, s, of how far a vessel lags behind its water: it moves the corners of the ramp by its share of the heat."""


def by_ramp(
    temperature: LoggedQuantity, load: Load, room: StatedValue | None, *, needs_plateau: bool
) -> LoadBalance | NotFound:
    """The heat balance per second along the ramp, found in the trace.

    Args:
        needs_plateau: refuse when no plateau follows; else the ramp alone will do.
    """
    if _is_broken(temperature):
        return _not_one_ramp()
    guess = room.value if room else exchange.USUAL_ROOM
    temperature = periods.since_put_in(temperature, guess)
    ramp = periods.find_ramp(temperature)
    if isinstance(ramp, NotFound):
        return ramp
    before = periods.before_heating(temperature, ramp.first, guess)
    boiling = max(temperature.values) > BOILING
    after = BOILED if boiling else periods.after_heating(temperature, ramp.last, guess)
    if isinstance(after, Plateau):
        still_before = before if isinstance(before, Plateau) else None
        rise = after.line.level - ramp.readings.values[0]
        after = why_not_steady(still_before, after, load, room, rise, in_load=True) or after
    if isinstance(after, NotFound) and needs_plateau and not boiling:
        return after
    refused = tuple(part for part in (before, after) if isinstance(part, NotFound))
    still = [None if isinstance(part, NotFound) else part for part in (before, after)]
    cooling = periods.cooling_from(temperature) if boiling else None
    known = exchange_of(load, room, still[0], still[1] or cooling)
    found = _found(temperature, load, known, ramp, still[0], still[1], refused)
    if isinstance(found, NotFound) or found.along is None or not _stayed_on_heater(found.along):
        return found
    unaided = _found(temperature, load, exchange_of(load, room, still[0]), ramp, still[0], still[1], refused)
    return found if isinstance(unaided, NotFound) or unaided.along is None else _less_sure(found, unaided.along.power)


def _stayed_on_heater(along: Along) -> bool:
    """Whether the load seems to have stayed on a heater with heat of its own: both corners are as round."""
    return along.lag > HEAVY_S and not nominal(along.kept)


def _less_sure(found: LoadBalance, unaided: Estimate) -> LoadBalance:
    """The drift after heating may be the heater's as well, which took no heat from the load while it was hotter.

    So the loss lies between what that drift tells and what is usual without it, anywhere alike.
    """
    assert found.along is not None
    power, other = found.along.power, nominal(unaided)
    apart = nominal(power) - other
    doubt = rectangle("heat that left through the heater", abs(apart) / 2.0, "drift after heating, and what is usual")
    power = estimate(power - apart / 2.0, doubt)
    return replace(found, along=replace(found.along, power=power), energy=power * nominal(found.along.seconds))


BOILED = NotFound(
    what="plateau",
    why="boiling: a level near the boiling point tells no rise, and steam carries heat away",
    advice="end the run below 90 °C; where a power is given, it is the ramp's below that",
)


def _found(
    temperature: LoggedQuantity,
    load: Load,
    known: Exchange,
    ramp: Ramp,
    before: Plateau | None,
    after: Plateau | None,
    refused: tuple[NotFound, ...],
) -> LoadBalance | NotFound:
    first_meet, last_meet, lag = ramp.first, ramp.last, 0.0
    for _ in range(2):
        inside = _straight_part(temperature, first_meet, last_meet, lag)
        if len(inside) < 5:
            return NotFound(
                what="ramp", why="too few readings see the straight rise", advice="log faster, or heat longer"
            )
        if max(b - a for a, b in pairwise(inside.times)) > 0.2 * (inside.times[-1] - inside.times[0]):
            return _not_one_ramp()
        fit = _fit(inside, load, known)
        if not fit.value > 0.0 or fit.scatter > CROOKED * fit.value * (inside.times[-1] - inside.times[0]):
            return _not_one_ramp()
        if before is not None:
            first_meet = _meet(before, load, known, inside, fit, first_meet)
        if after is not None:
            last_meet = _meet(after, load, known, inside, fit, last_meet)
        lag = fit.lag if fit.tail > 0.0 else 0.0
        if abs(first_meet - ramp.first) + abs(last_meet - ramp.last) > 0.3 * (ramp.last - ramp.first) + 4.0 * lag:
            return _not_one_ramp()
    return _balance(temperature, load, known, inside, fit, before, after, (first_meet, last_meet), refused)


def _is_broken(temperature: LoggedQuantity) -> bool:
    """Whether the temperature went on elsewhere while nothing was read."""
    spans = zip(pairwise(temperature.times), pairwise(temperature.values), strict=True)
    longest = 10.0 * temperature.interval
    return any(t1 - t0 > longest and abs(b - a) > 2.0 for (t0, t1), (a, b) in spans)


def _not_one_ramp() -> NotFound:
    why = "the rise is no straight ramp between two levels: the probe was not in the load throughout"
    advice = "give --start and --stop, or log the power"
    return NotFound(what="start and stop of heating", why=why, advice=advice)


def _too_short(duration: float, lag: float, kept_back: Delay | None) -> NotFound:
    if kept_back:
        kept_s = kept_back.seconds
        why = f"in {duration:.0f} s the heater, which kept {kept_s:.0f} s of its heat, gave full output too shortly"
        return NotFound(what=KEPT, why=why, advice="heat for longer, or begin with the heater hot")
    why = f"the rise of {duration:.0f} s is too short for readings that lag by {lag:.0f} s"
    advice = "give --start and --stop, use a faster probe, or heat longer"
    return NotFound(what="start and stop of heating", why=why, advice=advice)


def _straight_part(temperature: LoggedQuantity, first: float, last: float, lag: float) -> LoggedQuantity:
    """Readings on the ramp, short of its end by what a lag bends, and of boiling."""
    guard = max(1.5 * lag, temperature.interval, 0.02 * (last - first))
    inside = temperature.between(first, last - guard)
    if max(temperature.values) <= BOILING:
        return inside
    hot = next((t for t, v in zip(inside.times, inside.values, strict=True) if v > NEAR_BOILING), math.inf)
    return inside.between(-math.inf, hot)


def _losses(inside: LoggedQuantity, known: Exchange) -> list[float]:
    """Heat lost to the room since the first reading, J, at each reading."""
    steps = [
        known.loss((a + b) / 2.0) * (t1 - t0)
        for (t0, a), t1, b in zip(
            zip(inside.times, inside.values, strict=True), inside.times[1:], inside.values[1:], strict=False
        )
    ]
    return list(accumulate(steps, initial=0.0))


def _content(load: Load, kelvin: float) -> float:
    """Heat in the load at a temperature, J, on a zero of its own."""
    return load.mass.value * water.enthalpy(kelvin) + load.vessel.capacity * kelvin


def _fit(inside: LoggedQuantity, load: Load, known: Exchange) -> fits.SettlingFit:
    """The ramp in terms of heat: contents and losses together rise by the power, in a straight line."""
    heat = [_content(load, v) + lost for v, lost in zip(inside.values, _losses(inside, known), strict=True)]
    return fits.fit_ramp(inside, heat)


def _meet(
    level: Plateau, load: Load, known: Exchange, inside: LoggedQuantity, fit: fits.SettlingFit, near: float
) -> float:
    """When the ramp's line meets the level before or after, s."""
    end, _ = end_of(level, load, known, near, "")
    if not water.is_liquid(end.kelvin):  # carried back along a loss that is none of a load's
        return math.inf
    early = near < (inside.times[0] + inside.times[-1]) / 2.0
    lost = 0.0 if early else _losses(inside, known)[-1]
    since = inside.times[0] if early else inside.times[-1]
    loss = known.loss(end.kelvin)
    on_line = fit.start + fit.value * (near - inside.times[0])
    apart = _content(load, end.kelvin) + lost + loss * (near - since) - on_line
    return near + apart / fit.value


def _balance(
    temperature: LoggedQuantity,
    load: Load,
    known: Exchange,
    inside: LoggedQuantity,
    fit: fits.SettlingFit,
    before: Plateau | None,
    after: Plateau | None,
    meets: tuple[float, float],
    refused: tuple[NotFound, ...],
) -> LoadBalance | NotFound:
    first_meet, last_meet = meets
    if after is None:  # the end of heating is not seen: the run counts as far as the ramp is used
        last_meet = inside.times[-1]
    first, _ = end_of(before, load, known, first_meet, "before") if before else (_edge(inside, 0), 0.0)
    last, tail = end_of(after, load, known, last_meet, "after") if after else (_edge(inside, -1), 0.0)
    if after and abs(tail) > max(0.02 * (last.kelvin - first.kelvin), 2.0 * temperature.resolution):
        return not_settled(tail)

    def weigh(values: Sequence[float]) -> float:
        return math.fsum(w * v for w, v in zip(fit.weights, values, strict=True))

    enthalpy_slope = weigh([water.enthalpy(v) for v in inside.values])
    slope, lost = weigh(inside.values), weigh(_losses(inside, known))
    straight = _straightness(fit, slope / (fit.value - lost))
    shared = Shared()
    power = ramp_power(load, enthalpy_slope=enthalpy_slope, slope=estimate(slope, straight), lost=lost, shared=shared)
    power = power + exchange_error(known, _exchange_slopes(inside, known, weigh))
    power = power + known.conductance * shared.offset
    steady_s = last_meet - first_meet
    seen = temperature.between(before.first if before else -math.inf, after.last if after else math.inf)
    starting, stopping = _corners(seen, known, load, fit.value, first, last, (first_meet, last_meet))
    lag = max(starting.seconds, after.settling_lag(SLOWEST_PROBE_S) if after else 0.0)
    bend = _bend(steady_s, lag, load.vessel.capacity / load.capacity(first.kelvin))
    kept_back = heat_kept(starting, stopping) if before and after else None
    if bend.standard_uncertainty > MOST_BENT:
        return _too_short(steady_s, lag, kept_back)
    unmixed = MIXING * math.sqrt(2.0) / (last.kelvin - first.kelvin)
    mixing = Error(name="mixing along the ramp", standard_uncertainty=unmixed, source="common practice, no source")
    steady = power * estimate(1.0, bend, mixing, _crookedness(inside, fit, load))
    u_time = fit.u_value / fit.value * steady_s / 2.0
    u_lag = math.hypot(starting.u, VESSEL_FOLLOWS_S * load.vessel.capacity / load.capacity(first.kelvin))
    u_first = math.hypot(u_time, u_lag, first.u_fit * load.capacity(first.kelvin) / fit.value)
    u_last = math.hypot(u_time, u_lag, last.u_fit * load.capacity(last.kelvin) / fit.value)
    heating = Heating(
        start=first_meet - lag,
        stop=last_meet - (stopping.seconds if kept_back else lag),
        u_start=u_first,
        u_stop=u_last,
        how=RAMP if after else f"{RAMP}, its end not seen",
    )
    along = Along(
        power=steady,
        seconds=estimate(steady_s, _straightness(fit, steady_s / fit.value)),
        kept=_kept_time(kept_back) if kept_back else 0.0,
        lag=lag,
    )
    return LoadBalance(
        heating=heating, energy=steady * steady_s, first=first, last=last, exchange=known, lost=lost * steady_s,
        before=before, after=after, along=along, in_load=(FOLLOWED,), refused=refused,
    )  # fmt: skip


def _crookedness(inside: LoggedQuantity, fit: fits.SettlingFit, load: Load) -> Error:
    """What bends a ramp beside lag and room (layers, a thermostat's pause): scatter that neighbours do not share.

    Of a pause g in a ramp of d the slope errs by g/d, and readings scatter about the line by a third of it.
    """
    seconds = inside.times[-1] - inside.times[0]
    own = math.hypot(periods.noise_of(inside), inside.resolution / math.sqrt(12.0)) * load.capacity(inside.values[0])
    excess = math.sqrt(max(fit.scatter**2 - own**2, 0.0)) / (fit.value * seconds)
    return Error(name="the ramp is not straight", standard_uncertainty=2.0 * excess, source="simulated")


def _bend(duration: float, lag: float, vessel_share: float) -> Error:
    """What a lag may still bend of a ramp that is not many lags long, relative.

    The factors are of simulated runs: 8 % for a ramp of four lags, nothing from twenty.
    """
    probe = 0.5 * math.exp(-duration / (2.2 * lag))
    vessel = vessel_share * math.exp(-duration / (2.0 * VESSEL_FOLLOWS_S))
    return Error(
        name="lag against the length of the ramp", standard_uncertainty=math.hypot(probe, vessel), source="simulated"
    )


def _corners(
    temperature: LoggedQuantity,
    known: Exchange,
    load: Load,
    power: float,
    first: End,
    last: End,
    meets: tuple[float, float],
) -> tuple[Delay, Delay]:
    """The delays of the ramp's corners: readings that leave the level before, and those that leave the ramp."""
    start, stop = meets
    reach = min(LONGEST_CORNER_S, 0.6 * (stop - start))
    cooling, heated = (known.loss(end.kelvin) / load.capacity(end.kelvin) for end in (first, last))
    slope_first, slope_last = (power / load.capacity(end.kelvin) for end in (first, last))
    leaving = _bend_of(temperature.between(start - 0.5 * reach, start + reach), first.kelvin, -cooling, start)
    ending = _bend_of(temperature.between(stop - reach, stop + 0.5 * reach), last.kelvin, slope_last - heated, stop)
    return delay_of(leaving, slope_first, start), delay_of(ending, -slope_last, stop)


def _kept_time(heat: Delay) -> Estimate:
    """The time, s, that a heater needed for the heat that it kept: it was on, and the load got nothing of it."""
    shape = Error(name=KEPT, standard_uncertainty=heat.u, source="corners of the ramp")
    return estimate(heat.seconds, shape)


def _bend_of(readings: LoggedQuantity, kelvin: float, slope: float, at: float) -> LoggedQuantity:
    """By how much readings differ, K, from a line through a temperature at a time."""
    off = tuple(v - kelvin - slope * (t - at) for t, v in zip(readings.times, readings.values, strict=True))
    return replace(readings, values=off)


def _straightness(fit: fits.SettlingFit, per_watt: float) -> Error:
    """The scatter of the readings about the ramp, as an error of its slope or of the time it tells."""
    return Error(
        name="slope of the ramp, or its start and stop", standard_uncertainty=fit.u_value * per_watt,
        distribution="readings", degrees_of_freedom=max(fit.worth - 3.0, 2.0), source="fit of the readings",
    )  # fmt: skip


def _exchange_slopes(
    inside: LoggedQuantity, known: Exchange, weigh: Callable[[Sequence[float]], float]
) -> tuple[float, float, float]:
    """d(power)/d(conductance, room, evaporation) of the loss along the ramp."""
    steps = [0.0, *(b - a for a, b in zip(inside.times, inside.times[1:], strict=False))]
    kinds = zip(*(known.slopes(v) for v in inside.values), strict=True)
    a, b, c = (weigh(list(accumulate(s * dt for s, dt in zip(kind, steps, strict=True)))) for kind in kinds)
    return a, b, c


def _edge(inside: LoggedQuantity, place: int) -> End:
    return End(kelvin=inside.values[place], u_fit=0.0, worth=1.0, half_step=inside.resolution / 2.0, name="on the ramp")
