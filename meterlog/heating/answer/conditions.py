"""What the number stands on, in words: its arithmetic, its conditions, and which power the plate is held against."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal, standard_uncertainty
from meterlog.base.units import to_place
from meterlog.heating import water
from meterlog.heating.answer import methods, rating
from meterlog.heating.answer.powers import seconds_at_full_output
from meterlog.heating.answer.unstated import DEPTH
from meterlog.heating.balance.find import load_names
from meterlog.heating.balance.load import Shared

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.answer.result import Correction
    from meterlog.heating.answer.unstated import Unstated
    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.balance.load import End, Load
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.times.heating import WarmUp


def held_against(means: str, clock_mean: float) -> str:
    """Which power the plate is held against, and why."""
    if means == "input":
        return rating.MEANINGS["input"]
    return (
        f"{rating.MEANINGS['output']}; it is held against full output, as the manner of IEC 60705 leaves the "
        f"generator's warm-up out of the time; the mean over the clock is {clock_mean:.0f} W"
    )


def trail(
    method: str, number: Estimate, clock_mean: float, founds: Sequence[LoadBalance], applied: Sequence[Correction],
    energy: Estimate, warm_up: WarmUp, held: str,
) -> tuple[str, ...]:  # fmt: skip
    """The arithmetic, a line each, with the numbers in; `held` says which power the plate is held against."""
    first = founds[0]
    heating, u_power = first.heating, standard_uncertainty(number)
    start, stop = to_place(heating.start, heating.u_start), to_place(heating.stop, heating.u_stop)
    seconds = seconds_at_full_output(first, warm_up)
    full = to_place(nominal(seconds), standard_uncertainty(seconds))
    warm = f"warm-up {warm_up.seconds:.1f} s ± {warm_up.half_width:.1f} s, " if warm_up.seconds else "warm-up "
    shown = dict.fromkeys(line for found in founds for line in found.in_load)
    names = zip(load_names(len(founds)), founds, strict=True)
    return (
        f"method {method}: {methods.METHODS[method]}",
        f"heated from {start} s to {stop} s ({heating.how}); at full output for {full} s",
        *(() if first.along else (warm + warm_up.how,)),
        *shown,
        *(f"{name} from {_celsius(found.first)} to {_celsius(found.last)}" for name, found in names),
        *(f"{part.what}: {to_place(part.watts, u_power, sign=True)} W ({part.why})" for part in applied),
        f"useful heat {to_place(nominal(energy), standard_uncertainty(energy))} J",
        f"mean over the clock {to_place(clock_mean, u_power)} W",
        *([held] if held else []),
    )


def _celsius(end: End) -> str:
    """The load's temperature at an end of heating, to the place that its uncertainty has."""
    return f"{to_place(end.kelvin - water.ZERO_CELSIUS, standard_uncertainty(end.with_errors(Shared())))} °C"


def notes(
    method: str,
    watts: float,
    founds: Sequence[LoadBalance],
    loads: Sequence[Load],
    room: StatedValue | None,
    unstated: Unstated,
) -> tuple[str, ...]:
    """What the number stands on, and what a standard's method asks for that was not met."""
    told = [*_bare(loads), *_depth(unstated), *_unseen(founds[0])]
    firsts, lasts = (
        [e.kelvin - water.ZERO_CELSIUS for e in ends] for ends in zip(*((f.first, f.last) for f in founds), strict=True)
    )
    if method == "iec-60705":
        celsius = room.value - water.ZERO_CELSIUS if room else None
        asked = methods.not_met_60705(
            water_g=loads[0].mass.value * 1000.0, first=firsts[0], last=lasts[0], room=celsius
        )
        told.append(f"rounded to 50 W, as that standard prints it: {methods.rounded_50(watts):.0f} W")
        told += [f"not met, or not shown, of IEC 60705: {condition}" for condition in asked]
    if method == "two-vessels":
        asked = methods.not_met_two_litres(
            masses=[load.mass.value for load in loads], first=firsts, seconds=founds[0].heating.duration
        )
        told += [f"not met, or not shown, of the two-litre test: {condition}" for condition in asked]
    return tuple(told)


def _bare(loads: Sequence[Load]) -> list[str]:
    bare = sum(not load.vessel.pieces for load in loads)
    if not bare:
        return []
    vessels = "no vessel was stated" if len(loads) == 1 else f"{bare} of two vessels not stated"
    return [f"{vessels}: heat into it is not counted, the power is a lower bound"]


def _depth(unstated: Unstated) -> list[str]:
    if DEPTH not in (*unstated.more, *unstated.less):
        return []
    way = "more" if DEPTH not in unstated.less else "less" if DEPTH not in unstated.more else "more or less"
    return [f"no trace shows how deep the probe stood, and {DEPTH}: the power may be {way}"]


def _unseen(found: LoadBalance) -> list[str]:
    """That nothing shows whether the load was heated all the stated time."""
    heating = found.heating
    if heating.how != "stated" or heating.on or heating.in_load:
        return []
    return [
        "no log shows that it heated all of the stated time: a thermostat's pause in it would make the power read low"
    ]
