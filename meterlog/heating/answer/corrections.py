"""What was put to the heat of the water on the way to the power, and what went in by the mains."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal, standard_uncertainty
from meterlog.heating import water
from meterlog.heating.answer import methods
from meterlog.heating.answer.powers import BALANCES, seconds_at_full_output
from meterlog.heating.answer.result import Correction, Electrical
from meterlog.heating.balance.evaporation import open_loss
from meterlog.heating.balance.find import load_names
from meterlog.heating.balance.load import steam_heat
from meterlog.heating.times import cycling

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.balance.load import Load
    from meterlog.heating.times.heating import WarmUp
    from meterlog.heating.trace.columns import HeatingTrace


def applied(
    method: str, watts: float, founds: Sequence[LoadBalance], loads: Sequence[Load], warm_up: WarmUp
) -> tuple[Correction, ...]:
    """What the power by a method holds beside the heat of the water, each in W: of the times, then of each load."""
    first = founds[0]
    out = _of_times(watts, first, warm_up)
    for name, found, load in zip(load_names(len(loads)), founds, loads, strict=True):
        of = f"{name}: " if len(loads) > 1 else ""
        for part in _of_balance(found, load, warm_up) if method in BALANCES else []:
            out.append(Correction(what=of + part.what, watts=part.watts, why=part.why))
    return (*out, *_of_lags(first))


def _of_times(watts: float, found: LoadBalance, warm_up: WarmUp) -> list[Correction]:
    """What the times at full output add to the power over the clock."""
    heating, seconds = found.heating, nominal(seconds_at_full_output(found, warm_up))
    out = []
    if warm_up.seconds and not found.along:
        times = max(len(heating.on), 1)
        each = f"{warm_up.seconds:.1f} s ± {warm_up.half_width:.1f} s" + (f", {times} times" if times > 1 else "")
        added = watts * times * warm_up.seconds / (seconds + times * warm_up.seconds)
        out.append(Correction(what="warm-up", watts=added, why=f"{each} before full power, {warm_up.how}"))
    for pause in heating.pauses if not found.along else ():
        why = f"{pause.first:.0f} s to {pause.last:.0f} s: the temperature stood still, so nothing was heated"
        added = watts * pause.seconds / (seconds + pause.seconds)
        out.append(Correction(what="pause seen in the trace", watts=added, why=why))
    return out


def _of_balance(found: LoadBalance, load: Load, warm_up: WarmUp) -> list[Correction]:
    seconds, known = nominal(seconds_at_full_output(found, warm_up)), found.exchange
    out = []
    if load.vessel.pieces:
        vessel = load.vessel.capacity * found.rise / seconds
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
        steam = steam_heat(load, found.first.kelvin, found.last.kelvin) / seconds
        out.append(Correction(what="evaporation", watts=steam, why=f"{grams:.1f} g lost, weighed"))
    return out


def _of_lags(found: LoadBalance) -> list[Correction]:
    """Lags add no watts: the slope of a ramp is free of them."""
    if found.along is None:
        return []
    out = []
    kept = nominal(found.along.kept)
    if kept:
        why = f"{kept:.0f} s of heating: the load left the hot heater, so that only the mean over the clock is less"
        out.append(Correction(what="heat that the heater kept", watts=0.0, why=why))
    if found.along.lag:
        taken = "with the heater's, taken off the start" if kept else "taken off start and stop alike"
        out.append(Correction(what="probe lag", watts=0.0, why=f"{found.along.lag:.1f} s, {taken}"))
    return out


def electrical(trace: HeatingTrace, found: LoadBalance, energy: Estimate) -> Electrical | None:
    """Input power and efficiency; None where no power was logged.

    Args:
        energy: heat that all loads got, J.
    """
    on = found.heating.on
    if trace.power is None or not on:
        return None
    start, stop = found.heating.start, found.heating.stop
    joules = cycling.energy_drawn(trace.power, start, stop)
    spans = [(max(run.start, start), min(run.stop, stop)) for run in on]
    seconds = sum(max(last - first, 0.0) for first, last in spans)
    while_on = sum(cycling.energy_drawn(trace.power, first, last) for first, last in spans)
    return Electrical(
        energy=joules,
        mean_power=joules / (stop - start),
        on_power=while_on / seconds if seconds else 0.0,
        efficiency=methods.efficiency(nominal(energy), joules) if joules > 0.0 else None,
        u_efficiency=standard_uncertainty(energy) / joules if joules > 0.0 else None,
    )
