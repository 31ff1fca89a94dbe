"""A heating run, from the log to useful power with its uncertainty.

    trace ──when heated──▶ Heating ──still stretches, balance──▶ Found, one a load ──method──▶ power ──plate──▶ verdict

When start and stop are stated, or the mains side was logged, power is the rise over the time at full output; when the
probe stood in the load, it is the ramp's: its line meets the levels before and after where heating began and ended.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal, sum_sharing
from meterlog.heating.answer import conditions, methods
from meterlog.heating.answer.corrections import applied, electrical
from meterlog.heating.answer.judged import Plate, useful_of
from meterlog.heating.answer.powers import OWN, full_output, mean_over_clock, others, seconds_at_full_output
from meterlog.heating.answer.result import HeatingResult
from meterlog.heating.answer.unstated import unstated_of
from meterlog.heating.balance.find import balances, load_names, unlikely
from meterlog.heating.times import cycling
from meterlog.heating.times.heating import Heating, warm_up_of
from meterlog.heating.times.when import heated_when
from meterlog.heating.trace.periods import NotFound

if TYPE_CHECKING:
    from collections.abc import Collection

    from meterlog.heating.balance.load import Load
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.trace.columns import HeatingTrace

SHORTEST_S = 20.0
"""A shorter run is no two-litre test: a tenth of it would be warm-up (common practice, no source)."""
NO_PLATE = Plate()


def run(
    trace: HeatingTrace,
    loads: tuple[Load, ...],
    *,
    ambient: StatedValue | None = None,
    start: StatedValue | None = None,
    stop: StatedValue | None = None,
    warm_up: StatedValue | None = None,
    method: str = "enthalpy",
    plate: Plate = NO_PLATE,
    stirred: Collection[str] = (),
) -> HeatingResult:
    """The useful power of a heating run at full output, and its verdict against the plate.

    Args:
        loads: what was heated, water and vessel; two have a column of the trace each.
        ambient: room temperature, K; ± 1 K when no half width is stated.
        start, stop: of heating, s on the trace's clock; else from the mains side, else from the ramp.
        warm_up: time, s, to full power each time that it was switched on, where no log shows it.
        method: a key of `methods.METHODS`, fixed before the run.
        stirred: "before" and "after", when the person says that they stirred with the whole probe under the surface.

    Raises: ValueError for a method that is not of so many loads. A run that tells no power is refused in the result.
    """
    if method not in methods.METHODS:
        raise ValueError(f"unknown method {method!r}: one of {', '.join(methods.of_loads(len(loads)))}")
    if misfit := methods.misfit(method, len(loads)):
        raise ValueError(misfit)
    room = ambient.or_half_width(1.0) if ambient else None
    heating = unlikely(trace, loads) or heated_when(trace, start, stop)
    definition = methods.METHODS[method]
    founds = (
        heating
        if isinstance(heating, NotFound)
        else balances(trace, loads, room, heating, along=method == "ramp", said=stirred)
    )
    if isinstance(founds, NotFound):
        when = heating if isinstance(heating, Heating) else None
        return HeatingResult(
            method=method, definition=definition, trace=trace, heating=when, refused=(founds,), notes=trace.notes
        )
    first = founds[0]
    heated = first.heating
    warm = warm_up_of(heated, warm_up, is_oven=method in methods.OVENS)
    seconds = nominal(seconds_at_full_output(first, warm))
    too_short = _too_short(method, heated, seconds)
    if too_short is not None:
        return HeatingResult(
            method=method, definition=definition, trace=trace, heating=heated, refused=(too_short,), notes=trace.notes
        )
    number = full_output(method, founds, loads, room, warm)
    watts = nominal(number)
    clock_mean = mean_over_clock(watts, first, warm)
    energies = [found.energy for found in founds]
    energy = sum_sharing(dict(zip(load_names(len(loads)), energies, strict=True)), OWN) if loads[1:] else energies[0]
    made = applied(method, watts, founds, loads, warm)
    mains = electrical(trace, first, energy)
    unstated = unstated_of(founds, loads, stirred)
    told = conditions.notes(method, watts, founds, loads, room, unstated)
    compared = conditions.held_against(plate.means, clock_mean) if plate.limit else ""
    return HeatingResult(
        method=method,
        definition=definition,
        trace=trace,
        heating=heated,
        warm_up=warm,
        founds=founds,
        useful=useful_of(
            number, clock_mean, conditions.trail(method, number, clock_mean, founds, made, energy, warm, compared),
            plate, mains, unstated,
        ),
        energy=nominal(energy),
        applied=made,
        refused=tuple(part for found in founds for part in found.refused),
        beside=others(method, founds, loads, room, warm, trace),
        electrical=mains,
        cycling=cycling.cycling_of(heated.on),
        unstated=unstated,
        compared=compared,
        notes=(*trace.notes, *told),
    )  # fmt: skip


def _too_short(method: str, heating: Heating, seconds: float) -> NotFound | None:
    if not seconds > 0.0:
        why = f"the warm-up takes all of the {heating.duration:.1f} s of heating"
        return NotFound(what="duration", why=why, advice="check --start, --stop and --warm-up, or heat longer")
    if method == "two-vessels" and heating.duration < SHORTEST_S:
        why = f"the vessels were heated for {heating.duration:g} s, of which the warm-up is a large part"
        return NotFound(what="duration", why=why, advice="heat them for two minutes and 2 s")
    return None
