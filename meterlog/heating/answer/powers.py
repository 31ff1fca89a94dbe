"""The power at full output by each method, and beside it the mean over the clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.uncertainty import estimate, nominal, rectangle, sum_sharing
from meterlog.heating.answer import methods
from meterlog.heating.answer.result import Beside
from meterlog.heating.balance.find import load_names
from meterlog.heating.balance.load import Load, Shared, useful_energy
from meterlog.heating.balance.ramp import RAMP, by_ramp
from meterlog.heating.times import cycling
from meterlog.heating.times.heating import full_output_time
from meterlog.heating.trace.periods import NotFound

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.times.heating import WarmUp
    from meterlog.heating.trace.columns import HeatingTrace

OWN = ("scatter", "display step", "mixing", "exchange with the room")
"""Parts of the budget that are each vessel's own."""
BALANCES = ("enthalpy", "ramp")
"""The methods whose power is a heat balance, vessel and room counted."""


def seconds_at_full_output(found: LoadBalance, warm_up: WarmUp) -> Estimate:
    """The time that heat is divided by, s: along a ramp what its lines tell, else by clock, log and warm-up."""
    return found.along.seconds if found.along else full_output_time(found.heating, warm_up)


def full_output(
    method: str, founds: Sequence[LoadBalance], loads: Sequence[Load], room: StatedValue | None, warm_up: WarmUp
) -> Estimate:
    """Useful power at full output into all loads, W, by one method, with its errors."""
    each = [_of_one(method, found, load, room, warm_up) for found, load in zip(founds, loads, strict=True)]
    return each[0] if len(each) == 1 else sum_sharing(dict(zip(load_names(len(each)), each, strict=True)), OWN)


def _of_one(method: str, found: LoadBalance, load: Load, room: StatedValue | None, warm_up: WarmUp) -> Estimate:
    if found.along and method in BALANCES:
        return found.along.power
    seconds = seconds_at_full_output(found, warm_up)
    if method in BALANCES:
        return found.energy / seconds
    shared = Shared()
    if method == "water":
        return useful_energy(Load(mass=load.mass), found.first, found.last, 0.0, shared) / seconds
    last = found.last.with_errors(shared)
    rise = last - found.first.with_errors(shared) + shared.gain * found.rise
    if method in ("quick", "two-vessels"):
        return methods.quick(rise, load.water_mass(), seconds)
    over_room = last - (
        found.exchange.room
        if room is None
        else estimate(room.value, rectangle("room temperature", room.half_width or 0.0))
    )
    return methods.iec_60705_manner(
        water_g=load.water_mass() * 1000.0, vessel_g=load.vessel.mass * 1000.0, rise=rise, over_room=over_room,
        duration=seconds,
    )  # fmt: skip


def mean_over_clock(watts: float, found: LoadBalance, warm_up: WarmUp) -> float:
    """The mean from switching on to switching off, W, of so many W at full output: the same heat over all that time.

    Of a part-power level it is the mean over whole cycles.
    """
    heating, along = found.heating, found.along
    cycles = cycling.cycling_of(heating.on)
    if cycles:
        return cycling.part_power(watts, cycles.on_s, warm_up.seconds, cycles.period_s)
    seconds = nominal(seconds_at_full_output(found, warm_up))
    if along and heating.how.startswith(RAMP):
        return watts * seconds / (seconds + nominal(along.kept))
    if along and found.after is None:  # the end was not seen: as steady as the ramp, as far as is known
        return watts
    return watts * seconds / heating.duration


def others(
    method: str,
    founds: Sequence[LoadBalance],
    loads: Sequence[Load],
    room: StatedValue | None,
    warm_up: WarmUp,
    trace: HeatingTrace,
) -> tuple[Beside, ...]:
    """The power at full output by the methods that were not chosen, and what each leaves out."""
    powers = {
        name: nominal(full_output(name, founds, loads, room, warm_up))
        for name in methods.of_loads(len(loads))
        if name not in (method, "ramp")
    }
    found = founds[0]
    if method != "ramp" and len(loads) == 1:
        if found.along:
            powers["ramp"] = nominal(found.along.power)
        elif found.heating.in_load:
            ramp = by_ramp(trace.temperature, loads[0], room, needs_plateau=False)
            if not isinstance(ramp, NotFound) and ramp.along:
                powers["ramp"] = nominal(ramp.along.power)
    return tuple(Beside(method=n, watts=watts, leaves_out=methods.LEAVES_OUT[n]) for n, watts in powers.items())
