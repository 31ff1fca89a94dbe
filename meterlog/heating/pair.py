"""A run of two vessels heated together: the balance of each from its own temperatures, and their sum.

One thermometer reads both (carried from one to the other, or with a probe in each) and one scale weighs both,
so what is wrong with either is wrong in both the same way, and adds up; scatter, steps of the display, mixing
and what each one's drifts tell of the room are each vessel's own. Nobody can tell from temperatures in an oven
when it ran: times are stated, or logged.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal, sum_sharing
from meterlog.heating import water
from meterlog.heating.answer import methods, rating
from meterlog.heating.answer.result import VESSELS, Beside, Correction, HeatingResult
from meterlog.heating.balance.ramp import BOILED, BOILING
from meterlog.heating.balance.rise import by_rise
from meterlog.heating.run import WARM_UP, applied, by_method, electrical, judged, timed
from meterlog.heating.times.when import heating_time, on_times
from meterlog.heating.trace.periods import Refused
from meterlog.judging.limit import Rule

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.found import Found
    from meterlog.heating.balance.load import Load
    from meterlog.heating.stated import Stated
    from meterlog.heating.times.heating import Heating
    from meterlog.heating.trace.columns import Series, Trace
    from meterlog.judging.limit import Limit

    Loads = tuple[Load, Load]
    Founds = tuple[Found, Found]

OWN = ("scatter", "display step", "mixing", "exchange with the room")
"""Parts of the budget that are each vessel's own."""
SHORTEST_S = 20.0
"""A shorter run is no two-litre test: a tenth of it would be warm-up (common practice, no source)."""
NO_TIMES = Refused(
    what="times",
    why="of two vessels the temperatures do not tell when they were heated",
    advice="give --start and --stop, or log the power",
)
ONE_COLUMN = Refused(
    what="loads",
    why="two loads were given, and the trace has the temperature of one vessel",
    advice="name a column for each vessel: t_s,temperature_1_C,temperature_2_C",
)


def run_pair(
    trace: Trace,
    loads: Loads,
    *,
    ambient: Stated | None = None,
    start: Stated | None = None,
    stop: Stated | None = None,
    method: str = "enthalpy",
    rated: Stated | None = None,
    rated_means: str = "output",
    limit: Limit | None = None,
    rule: Rule = Rule.GUARD,
) -> HeatingResult:
    """The useful power into two vessels heated together, W, and its verdict; arguments as of `run`.

    Args:
        loads: of the first vessel and of the second, whose temperatures are the trace's and its `second`.

    Raises: ValueError for a method that is not of two loads. A run that tells no power is refused in the result.
    """
    if method not in methods.OF_TWO_LOADS:
        raise ValueError(methods.misfit(method, 2) if method in methods.METHODS else f"unknown method {method!r}")
    room = ambient.or_half_width(1.0) if ambient else None
    answer, untimed = timed(trace, method, start, stop)
    found: Founds | Refused = _unlikely(trace, loads) or untimed or NO_TIMES
    if answer.heating and found is NO_TIMES:
        duration = heating_time(answer.heating, on_times(trace), answer.cycling)
        found = _find(trace, loads, room, answer.heating, duration, method)
    if isinstance(found, Refused):
        return replace(answer, refused=(found,))
    wanted = limit or (rating.limit_of(rated, rated_means) if rated else None)
    return judged(_told(answer, found, loads, room), wanted, rule, rated_means)


def _unlikely(trace: Trace, loads: Loads) -> Refused | None:
    """The reason why these are no loads of this trace, or None."""
    if trace.second is None:
        return ONE_COLUMN
    why_not = ((place, load.why_not()) for place, load in zip(VESSELS, loads, strict=True))
    return next((replace(refused, why=f"{place}: {refused.why}") for place, refused in why_not if refused), None)


def _find(
    trace: Trace, loads: Loads, room: Stated | None, heating: Heating, duration: Estimate, method: str
) -> Founds | Refused:
    assert trace.second is not None
    if method == "two-vessels" and nominal(duration) < SHORTEST_S:
        return _too_short(nominal(duration))
    first = _find_one(VESSELS[0], trace.temperature, loads[0], room, heating, duration)
    second = _find_one(VESSELS[1], trace.second, loads[1], room, heating, duration)
    if isinstance(first, Refused):
        return first
    return second if isinstance(second, Refused) else (first, second)


def _too_short(seconds: float) -> Refused:
    why = f"the vessels were heated for {seconds:g} s, of which the warm-up allowed for is a large part"
    return Refused(what="duration", why=why, advice="heat them for two minutes and 2 s")


def _find_one(
    place: str, temperature: Series, load: Load, room: Stated | None, heating: Heating, duration: Estimate
) -> Found | Refused:
    boiled = max(temperature.values) > BOILING
    found = BOILED if boiled else by_rise(temperature, load, room, heating, duration)
    return replace(found, why=f"{place}: {found.why}") if isinstance(found, Refused) else found


def _told(answer: HeatingResult, founds: Founds, loads: Loads, room: Stated | None) -> HeatingResult:
    """The answer with its number, corrections and the other methods."""
    first, second = founds
    energy = sum_sharing({place: found.energy for place, found in zip(VESSELS, founds, strict=True)}, OWN)
    powers = {name: _power(name, founds, loads, room) for name in methods.OF_TWO_LOADS}
    return replace(
        answer,
        found=first,
        second=second,
        refused=(*first.refused, *second.refused),
        heating=first.heating,
        number=powers[answer.method],
        energy=nominal(energy),
        applied=(
            *_allowance(answer.method, first, powers[answer.method]),
            *(
                replace(part, what=f"{place}: {part.what}")
                for place, found, load in zip(VESSELS, founds, loads, strict=True)
                for part in applied(answer.method, found, load)
            ),
        ),
        beside=tuple(
            Beside(method=name, watts=nominal(power), leaves_out=methods.LEAVES_OUT[name])
            for name, power in powers.items()
            if name != answer.method
        ),
        electrical=electrical(answer.trace, replace(first, energy=energy)),
        notes=(*answer.notes, *_conditions(answer.method, founds, loads)),
    )


def _power(method: str, founds: Founds, loads: Loads, room: Stated | None) -> Estimate:
    """The power into both by one method, W, with its errors."""
    each = zip(VESSELS, founds, loads, strict=True)
    return sum_sharing({place: _part(method, found, load, room) for place, found, load in each}, OWN)


def _part(method: str, found: Found, load: Load, room: Stated | None) -> Estimate:
    """The part of one vessel; the two-litre test's is the quick method's over the time less what it allows."""
    if method != "two-vessels":
        return by_method(method, found, load, room)
    return by_method("quick", replace(found, duration=found.duration - _allowed(found)), load, room)


def _allowed(found: Found) -> Estimate:
    """The two-litre test's allowance for warm-up, s; nothing where the log showed it and it was taken off."""
    return 0.0 if found.heating.warm_up else methods.warm_up_allowed()


def _allowance(method: str, found: Found, power: Estimate) -> tuple[Correction, ...]:
    """The allowance as a correction of the power, where the method makes it."""
    seconds = nominal(_allowed(found)) if method == "two-vessels" else 0.0
    if not seconds:
        return ()
    watts = nominal(power) * seconds / nominal(found.duration)
    return (Correction(what=WARM_UP, watts=watts, why=f"{seconds:g} s, as the two-litre test allows"),)


def _conditions(method: str, founds: Founds, loads: Loads) -> list[str]:
    """What the number stands on, and what the two-litre test asks for that was not met."""
    bare = sum(not load.vessel.pieces for load in loads)
    told = [f"{bare} of two vessels not stated: their heat is not counted, the power is a lower bound"] if bare else []
    if method == "two-vessels":
        asked = methods.not_met_two_litres(
            masses=[load.mass.value for load in loads],
            first=[found.first.kelvin - water.ZERO_CELSIUS for found in founds],
            seconds=founds[0].heating.duration,
        )
        told += [f"not met, or not shown, of the two-litre test: {condition}" for condition in asked]
    return told
