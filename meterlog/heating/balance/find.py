"""What each load got: by the rise over the time where that is known, along the ramp where the probe saw it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal, standard_uncertainty
from meterlog.heating.balance.ramp import BOILED, BOILING, KEPT, by_ramp
from meterlog.heating.balance.rise import by_rise
from meterlog.heating.times.heating import full_output_time, warm_up_of
from meterlog.heating.trace.periods import NotFound

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.balance.load import Load
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.times.heating import Heating
    from meterlog.heating.trace.columns import HeatingTrace, LoggedQuantity

VESSELS = ("first vessel", "second vessel")
"""What two loads heated together are called."""
EARLY_S, LONGER = 4.0, 0.04
"""A ramp may begin so much before the stated start, s, or last so much longer than the stated time, part of it."""
MOSTLY = 0.6
"""A ramp shorter than this part of the stated time is another heating than the one that was stated."""
NO_TIMES = NotFound(
    what="times",
    why="of two vessels the temperatures do not tell when they were heated",
    advice="give --start and --stop, or log the power",
)


def load_names(count: int) -> tuple[str, ...]:
    """What so many loads are called."""
    return ("load",) if count == 1 else VESSELS


def unlikely(trace: HeatingTrace, loads: Sequence[Load]) -> NotFound | None:
    """The reason why these are no loads of this trace, or None."""
    columns = 1 if trace.second is None else 2
    if columns > len(loads):
        return NotFound(
            what="loads",
            why="the trace has the temperatures of two vessels, and one load was given",
            advice='give the second vessel\'s too: --mass "1 kg" --mass "1 kg"',
        )
    if columns < len(loads):
        return NotFound(
            what="loads",
            why="two loads were given, and the trace has the temperature of one vessel",
            advice="name a column for each vessel: t_s,temperature_1_C,temperature_2_C",
        )
    why_not = [(name, load.why_not()) for name, load in zip(load_names(columns), loads, strict=True)]
    return next(
        (replace(part, why=f"{name}: {part.why}" if columns > 1 else part.why) for name, part in why_not if part), None
    )


def balances(
    trace: HeatingTrace, loads: Sequence[Load], room: StatedValue | None, heating: Heating | None, *, along: bool,
    said: Collection[str],
) -> tuple[LoadBalance, ...] | NotFound:  # fmt: skip
    """What each load got, in the order of the trace's columns; or why that can't be told.

    Args:
        heating: when; None where only the ramp can tell.
        along: the ramp was asked for.
        said: of "before" and "after", when the person stirred with the probe in the load, and says so.
    """
    columns = [series for series in (trace.temperature, trace.second) if series is not None]
    if len(loads) == 1:
        found = _find_one(trace.temperature, loads[0], room, heating, along=along, said=said)
        return found if isinstance(found, NotFound) else (found,)
    if heating is None:
        return NO_TIMES
    out = []
    for name, series, load, beside in zip(VESSELS, columns, loads, reversed(columns), strict=True):
        boiled = max(series.values) > BOILING
        each = BOILED if boiled else by_rise(series, load, room, heating, said, beside)
        if isinstance(each, NotFound):
            return replace(each, why=f"{name}: {each.why}")
        out.append(each)
    return tuple(out)


def _find_one(
    temperature: LoggedQuantity, load: Load, room: StatedValue | None, heating: Heating | None, *, along: bool,
    said: Collection[str],
) -> LoadBalance | NotFound:  # fmt: skip
    if heating is None:
        return by_ramp(temperature, load, room, needs_plateau=not along)
    if along or max(temperature.values) > BOILING:
        ramp = _within(heating, by_ramp(temperature, load, room, needs_plateau=False))
        return BOILED if isinstance(ramp, NotFound) and not along and ramp.what != "stated times" else ramp
    rise = by_rise(temperature, load, room, heating, said)
    if isinstance(rise, NotFound):
        if rise.what != "stable start":
            return rise
        ramp = _within(heating, by_ramp(temperature, load, room, needs_plateau=True))
        return rise if isinstance(ramp, NotFound) and ramp.what != "stated times" else ramp
    if not rise.heating.in_load or rise.heating.pauses or len(heating.on) > 1:
        return rise
    ramp = by_ramp(temperature, load, room, needs_plateau=True)
    return ramp if isinstance(ramp, NotFound) and ramp.what == KEPT else _sharper(rise, ramp)


def _within(heating: Heating, ramp: LoadBalance | NotFound) -> LoadBalance | NotFound:
    """The ramp's answer with the times known otherwise; refused where it can't be the heating of those times."""
    if isinstance(ramp, NotFound) or ramp.along is None:
        return ramp
    own, seconds = ramp.heating, nominal(ramp.along.seconds)
    doubt = 3.0 * math.hypot(own.u_start, heating.u_start)
    early = ramp.before is not None and own.start < heating.start - EARLY_S - doubt - ramp.along.lag
    both = ramp.before is not None and ramp.after is not None
    longer = seconds > heating.duration * (1.0 + LONGER) + EARLY_S + doubt
    shorter = both and seconds < MOSTLY * heating.duration
    if early or longer or shorter:
        return NotFound(
            what="stated times",
            why=f"heating was told from {heating.start:.0f} s to {heating.stop:.0f} s ({heating.how}), and the "
            f"temperature rises from {own.start:.0f} s to {own.stop:.0f} s",
            advice="check --start and --stop, or leave both out: the rise then tells them",
        )
    return replace(ramp, heating=replace(heating, in_load=True))


def _sharper(rise: LoadBalance, ramp: LoadBalance | NotFound) -> LoadBalance:
    """Of two answers on one run the ramp's, unless it is much the worse known and not clearly the larger.

    The rise over the time counts what a heater kept of its own heat as heat that never was; the ramp does not.
    """
    told = _within(rise.heating, ramp)
    if isinstance(told, NotFound) or told.along is None:
        return rise
    if nominal(told.along.kept):
        return told
    seconds = full_output_time(rise.heating, warm_up_of(rise.heating, None, is_oven=False))
    over_time = rise.energy / seconds
    coarse, fine = standard_uncertainty(over_time), standard_uncertainty(told.along.power)
    clearly_larger = nominal(told.along.power) - nominal(over_time) > 2.0 * math.hypot(coarse, fine)
    return rise if fine > 1.5 * coarse and not clearly_larger else told
