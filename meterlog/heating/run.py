"""A heating run, from the log to useful power with its uncertainty.

    trace ──when heated──▶ Heating ──still stretches──▶ before, after ──drifts──▶ Exchange ──balance──▶ power

When start and stop are stated, or the mains side was logged, power is the rise over the time; when
they are not, the probe stood in the load and power is the ramp's: its line meets the levels before
and after where heating began and ended, to a fraction of a sample.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import estimate, nominal, rectangle, standard_uncertainty
from meterlog.base.units import to_place
from meterlog.heating import water
from meterlog.heating.answer import methods, rating
from meterlog.heating.answer.improve import improvements
from meterlog.heating.answer.result import Beside, Correction, Electrical, HeatingResult
from meterlog.heating.balance.evaporation import open_loss
from meterlog.heating.balance.found import Found
from meterlog.heating.balance.load import Load, Shared, steam_heat, useful_energy
from meterlog.heating.balance.ramp import BOILED, BOILING, by_ramp
from meterlog.heating.balance.rise import by_rise
from meterlog.heating.balance.vessel import NO_VESSEL, Vessel
from meterlog.heating.times import cycling
from meterlog.heating.times.when import heated_when, heating_time, on_times, why_not_stated
from meterlog.heating.trace.periods import Refused, still_stretches
from meterlog.judging import Outcome, Result, judge
from meterlog.judging.limit import Limit, Rule

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.load import End
    from meterlog.heating.stated import Stated
    from meterlog.heating.trace.columns import Trace
    from meterlog.judging import Verdict

ONE_OF_TWO = Refused(
    what="loads",
    why="the trace has the temperatures of two vessels, and one load was given",
    advice='give the second vessel\'s too: --mass "1 kg" --mass "1 kg"',
)
BALANCES = ("enthalpy", "ramp")
"""The methods whose power is a heat balance, vessel and room counted; of the others only the times are corrected."""
WARM_UP, PROBE_LAG = "warm-up", "probe lag"


def run(
    trace: Trace,
    mass: Stated,
    *,
    vessel: Vessel = NO_VESSEL,
    ambient: Stated | None = None,
    start: Stated | None = None,
    stop: Stated | None = None,
    method: str = "enthalpy",
    rated: Stated | None = None,
    rated_means: str = "output",
    limit: Limit | None = None,
    rule: Rule = Rule.GUARD,
    mass_after: Stated | None = None,
) -> HeatingResult:
    """The useful power of a heating run and its verdict against the plate.

    Args:
        mass: of the water, kg; mass_after: weighed again after it, when evaporation counts.
        vessel: what holds it; not counted when none is given.
        ambient: room temperature, K; ± 1 K when no half width is stated.
        start, stop: of heating, s on the trace's clock; else from the mains side, else from the ramp.
        method: a key of `methods.METHODS`, fixed before the run.
        rated: the plate's power, W, with its tolerance or the usual one; limit: instead of it, a step's own.
        rated_means: "output", useful power, or "input", what the mains side took while on.

    Raises: ValueError for an unknown method. A run that tells no power is refused in the result.
    """
    if method not in methods.of_loads(1):
        raise ValueError(f"unknown method {method!r}: one of {', '.join(methods.of_loads(1))}")
    load = Load(mass=mass, vessel=vessel, mass_after=mass_after)
    room = ambient.or_half_width(1.0) if ambient else None
    answer, untimed = timed(trace, method, start, stop)
    one_of_two = ONE_OF_TWO if trace.second is not None else None
    found = one_of_two or untimed or load.why_not() or _find(answer, load, room)
    if isinstance(found, Refused):
        return replace(answer, refused=(found,))
    answer = replace(answer, found=found, heating=found.heating, refused=found.refused)
    wanted = limit or (rating.limit_of(rated, rated_means) if rated else None)
    return judged(_told(answer, load, room), wanted, rule, rated_means)


def timed(trace: Trace, method: str, start: Stated | None, stop: Stated | None) -> tuple[HeatingResult, Refused | None]:
    """A run's answer as far as its times go, as stated or logged; and why what is stated can't be, or None."""
    untimed = why_not_stated(trace, start, stop)
    heating = None if untimed else heated_when(trace, start, stop)
    cycles = cycling.cycling_of(on_times(trace)) if heating and "stated" not in heating.how else None
    answer = HeatingResult(
        method=method, definition=methods.METHODS[method], trace=trace, heating=heating, cycling=cycles,
        notes=trace.notes,
    )  # fmt: skip
    return answer, untimed


def _find(answer: HeatingResult, load: Load, room: Stated | None) -> Found | Refused:
    trace, heating, cycles, method = answer.trace, answer.heating, answer.cycling, answer.method
    if heating is None or method == "ramp":
        return by_ramp(trace.temperature, load, room, needs_plateau=method != "ramp")
    duration = heating_time(heating, on_times(trace), cycles)
    if not nominal(duration) > 0.0:
        return Refused(what="duration", why="heating stops before it starts", advice="check --start and --stop")
    if max(trace.temperature.values) > BOILING:
        along = by_ramp(trace.temperature, load, room, needs_plateau=False)
        return along if isinstance(along, Found) else BOILED
    found = by_rise(trace.temperature, load, room, heating, duration)
    if isinstance(found, Refused) and found.what == "stable start":
        along = by_ramp(trace.temperature, load, room, needs_plateau=True)
        return along if isinstance(along, Found) else found
    if isinstance(found, Found) and "log" in heating.how and len(on_times(trace)) == 1:
        return _finer(found, by_ramp(trace.temperature, load, room, needs_plateau=True))
    return found


def _finer(rise: Found, ramp: Found | Refused) -> Found:
    """The ramp's answer where a slow power log times heating worse than the rise itself does, and both agree."""
    if isinstance(ramp, Refused) or not rise.heating.in_load:
        return rise
    coarse, fine = standard_uncertainty(rise.power), standard_uncertainty(ramp.power)
    agree = abs(nominal(rise.power) - nominal(ramp.power)) < 3.0 * math.hypot(coarse, fine)
    return ramp if agree and fine < 0.7 * coarse else rise


def _told(answer: HeatingResult, load: Load, room: Stated | None) -> HeatingResult:
    """The answer with its number, corrections and the other methods."""
    found = answer.found
    assert found is not None
    number = by_method(answer.method, found, load, room)
    return replace(
        answer,
        number=number,
        energy=nominal(found.energy),
        applied=applied(answer.method, found, load),
        beside=_others(answer.method, found, load, room, answer.trace),
        electrical=electrical(answer.trace, found),
        notes=(
            *answer.notes,
            *_pauses(answer.trace, found),
            *_conditions(answer.method, nominal(number), found, load, room),
        ),
    )


def _pauses(trace: Trace, found: Found) -> list[str]:
    """Where the load stood still while it was stated to be heated, and no log tells of it."""
    heating = found.heating
    if heating.how != "stated" or not heating.in_load or on_times(trace):
        return []
    margin = 0.15 * heating.duration
    inside = trace.temperature.between(heating.start + margin, heating.stop - margin)
    still = still_stretches(inside, found.exchange.room)
    return [
        f"the temperature stood still from {s.times[0]:.0f} s to {s.times[-1]:.0f} s: the power is the mean over the "
        "stated time, a pause in it counted"
        for s in still
    ]


def _conditions(method: str, watts: float, found: Found, load: Load, room: Stated | None) -> list[str]:
    """What the number stands on, and what a standard's method asks for that was not met."""
    told = (
        [] if load.vessel.pieces else ["no vessel was stated: heat into it is not counted, the power is a lower bound"]
    )
    if method == "iec-60705":
        first, last = (end.kelvin - water.ZERO_CELSIUS for end in (found.first, found.last))
        celsius = room.value - water.ZERO_CELSIUS if room else None
        asked = methods.not_met_60705(water_g=load.mass.value * 1000.0, first=first, last=last, room=celsius)
        told.append(f"rounded to 50 W, as that standard prints it: {methods.rounded_50(watts):.0f} W")
        told += [f"not met, or not shown, of IEC 60705: {condition}" for condition in asked]
    return told


def by_method(method: str, found: Found, load: Load, room: Stated | None) -> Estimate:
    """The power by one method, W, with its errors."""
    if method == "ramp" and found.steady is not None:
        return found.steady
    if method in ("enthalpy", "ramp"):
        return found.power
    shared = Shared()
    rise = found.last.with_errors(shared) - found.first.with_errors(shared) + shared.gain * found.rise
    if method == "water":
        return useful_energy(Load(mass=load.mass), found.first, found.last, 0.0, shared) / found.duration
    if method == "quick":
        return methods.quick(1.0) * rise * load.water_mass() * 60.0 / found.duration
    over_room = found.last.with_errors(shared) - (
        found.exchange.room
        if room is None
        else estimate(room.value, rectangle("room temperature", room.half_width or 0.0))
    )
    return (4187.0 * load.water_mass() * rise + 550.0 * load.vessel.mass * over_room) / found.duration


def _others(method: str, found: Found, load: Load, room: Stated | None, trace: Trace) -> tuple[Beside, ...]:
    """The power by the methods that were not chosen, and what each leaves out."""
    powers = {name: nominal(by_method(name, found, load, room)) for name in methods.of_loads(1) if name != method}
    if not found.by_ramp:
        along = by_ramp(trace.temperature, load, room, needs_plateau=False) if found.heating.in_load else None
        powers.pop("ramp", None)
        if isinstance(along, Found):
            powers["ramp"] = nominal(along.power)
    return tuple(Beside(method=n, watts=watts, leaves_out=methods.LEAVES_OUT[n]) for n, watts in powers.items())


def applied(method: str, found: Found, load: Load) -> tuple[Correction, ...]:
    """What the power by a method holds beside the heat of the water, each in W."""
    made = _corrections(found, load)
    return made if method in BALANCES else tuple(part for part in made if part.what in (WARM_UP, PROBE_LAG))


def _corrections(found: Found, load: Load) -> tuple[Correction, ...]:
    seconds, known, heating = nominal(found.duration), found.exchange, found.heating
    vessel = load.vessel.capacity * found.rise / seconds
    out = []
    if load.vessel.pieces:
        out.append(Correction(what="vessel", watts=vessel, why=f"{load.vessel.capacity:.0f} J/K warm with the water"))
    open_ = open_loss((found.first.kelvin + found.last.kelvin) / 2.0, known.area) * known.evaporation
    if found.lost or load.mass_after is None:
        room = known.room - water.ZERO_CELSIUS
        why = f"{known.conductance:.2f} W/K to {room:.1f} °C, of which {round(open_) + 0.0:.0f} W by evaporation"
        seen = [name for name, part in (("before", found.before), ("after", found.after)) if part is not None]
        drifts = f"the drift{'s' if len(seen) > 1 else ''} {' and '.join(seen)}" if seen else "no drift"
        out.append(Correction(what="exchange with the room", watts=found.lost / seconds, why=f"{why}; from {drifts}"))
    if load.mass_after is not None:
        grams = (load.mass.value - load.mass_after.value) * 1000.0
        out.append(
            Correction(
                what="evaporation",
                watts=steam_heat(load, found.first.kelvin, found.last.kelvin) / seconds,
                why=f"{grams:.1f} g lost, weighed",
            )
        )
    if heating.warm_up:
        watts = nominal(found.power) * heating.warm_up / (seconds + heating.warm_up)
        out.append(
            Correction(what=WARM_UP, watts=watts, why=f"{heating.warm_up:.2f} s before full power, seen in the log")
        )
    if found.kept_s:
        seconds_kept = f"{found.kept_s:.0f} s of heating: the rise ends sharper than it began"
        out.append(
            Correction(
                what="heat that the heater kept",
                watts=nominal(found.power) - nominal(found.steady or found.power),
                why=f"{seconds_kept}, so the load left the hot heater, or got none of its heat",
            )
        )
    if found.lag:
        taken = "with the heater's, taken off the start" if found.kept_s else "taken off start and stop alike"
        out.append(Correction(what=PROBE_LAG, watts=0.0, why=f"{found.lag:.1f} s, {taken}"))
    return tuple(out)


def electrical(trace: Trace, found: Found) -> Electrical | None:
    """Input power and efficiency; None where no power was logged."""
    runs = on_times(trace)
    if trace.power is None or not runs:
        return None
    start, stop = found.heating.start, found.heating.stop
    if "log" in found.heating.how:
        start, stop = runs[0].start, runs[-1].stop
    joules = cycling.energy(trace.power, start, stop)
    on = sum(max(min(run.stop, stop) - max(run.start, start), 0.0) for run in runs)
    useful = found.energy
    return Electrical(
        energy=joules,
        mean_power=joules / (stop - start),
        on_power=sum(cycling.energy(trace.power, max(r.start, start), min(r.stop, stop)) for r in runs) / on
        if on
        else 0.0,
        efficiency=methods.efficiency(nominal(useful), joules) if joules > 0.0 else None,
        u_efficiency=standard_uncertainty(useful) / joules if joules > 0.0 else None,
    )


def judged(answer: HeatingResult, limit: Limit | None, rule: Rule, means: str = "output") -> HeatingResult:
    """The answer with its uncertainty and its verdict, by the decision rules of every other check.

    Args:
        means: what the limit is of: "output", useful power, or "input", metered power while on.
    """
    useful = judge(Result(quantity="power", number=answer.number, trail=_trail(answer)), limit, rule)
    helpful = improvements(useful.budget, useful.expanded_uncertainty or 0.0)
    verdict = _input_verdict(answer, limit, rule) if means == "input" and limit else useful
    if verdict.outcome is Outcome.UNDECIDED and helpful and means == "output":
        verdict = replace(verdict, advice=f"What would help most: {helpful[0]}.")
    return replace(
        answer,
        verdict=verdict,
        power=useful.value,
        standard_uncertainty=useful.standard_uncertainty,
        expanded_uncertainty=useful.expanded_uncertainty,
        coverage_factor=useful.coverage_factor,
        degrees_of_freedom=useful.degrees_of_freedom,
        budget=useful.budget,
        improvements=helpful,
        notes=tuple(dict.fromkeys((*answer.notes, *([rating.MEANINGS[means]] if limit else [])))),
    )


def _input_verdict(answer: HeatingResult, limit: Limit, rule: Rule) -> Verdict:
    """The metered power while on against a plate that states input."""
    if answer.electrical is None:
        why = "The plate states electrical input, and no power was logged."
        return judge(
            Result(quantity="power", reason=why, advice="Log the mains power beside the temperature."), limit, rule
        )
    watts = answer.electrical.on_power
    meter = rectangle("power meter", rating.METER * watts, "common practice, no source")
    line = f"mean metered power while on {watts:.1f} W"
    return judge(Result(quantity="power", number=estimate(watts, meter), trail=(line,)), limit, rule)


def _trail(answer: HeatingResult) -> tuple[str, ...]:
    """The arithmetic, a line each, with the numbers in."""
    found = answer.found
    assert found is not None
    assert answer.energy is not None
    heating, u_power = found.heating, standard_uncertainty(answer.number)
    start, stop = to_place(heating.start, heating.u_start), to_place(heating.stop, heating.u_stop)
    seconds = to_place(nominal(found.duration), standard_uncertainty(found.duration))
    return (
        f"method {answer.method}: {answer.definition}",
        f"heated from {start} s to {stop} s ({heating.how}): {seconds} s",
        *(f"{name} from {_celsius(part.first)} to {_celsius(part.last)}" for name, part in answer.loads()),
        *(f"{part.what}: {to_place(part.watts, u_power, sign=True)} W ({part.why})" for part in answer.applied),
        f"useful heat {to_place(answer.energy, standard_uncertainty(found.energy))} J",
    )


def _celsius(end: End) -> str:
    """The load's temperature at an end of heating, to the place that its uncertainty has."""
    return f"{to_place(end.kelvin - water.ZERO_CELSIUS, standard_uncertainty(end.with_errors(Shared())))} °C"
