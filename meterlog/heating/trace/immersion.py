"""What shows that the probe stood in the load when it was read: seen in the trace, or said by the person.

A probe left in the room's air goes to the room's temperature and stays there, a still stretch like any other. So a
stretch counts as the load's when something shows that no air gave it:

- readings followed the rise while the load was heated;
- they stepped back from what they read in the air, faster than a probe drifts in air;
- the level is none that the room could give, by what was stated of it and by what the probe read in it;
- they fall from a level above the load's first, where a probe in air that is warmer than that load could only rise;
- two vessels, read one after the other, stand at levels apart;
- the person says that they stirred with the probe in the load; or, of the time before, that a log is left empty while
  the probe is out, where nobody told of the room.
"""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

from meterlog.heating.trace import fits
from meterlog.heating.trace.periods import NotFound, noise_of
from meterlog.heating.water import ZERO_CELSIUS

if TYPE_CHECKING:
    from meterlog.heating.stated import StatedValue
    from meterlog.heating.trace.columns import LoggedQuantity
    from meterlog.heating.trace.periods import Plateau

FOLLOWED = "the probe stood in the load: its readings followed the rise"
NOT_SHOWN = "probe in the load"
BEFORE, AFTER = "before", "after"
SIDES = (BEFORE, AFTER)
"""When a person may say that they stirred with the probe in the load."""
APART_K = 0.7
"""Air beside an oven wanders by less within a run (common practice, no source)."""
LEVEL_K = 2.0
"""Air that a running oven warms differs by less from that before and after (common practice, no source)."""
WARMED_K = 4.0
"""Air that leaves an oven just switched off is so much warmer than the room's (common practice, no source)."""
SOON_S, ONSET_K = 15.0, 0.5
"""A probe that leaves the load at the start changes by more than this, K, so soon; air that an oven warms does not."""
NO_AIR_K = 8.0
"""Air beside an oven is not so far from the room's temperature, K (common practice, no source)."""
FEWEST = 4
"""Readings that tell a level."""
OFFSET_K = 0.5
"""A thermometer may differ so much from the one that told of the room (common practice, no source)."""
ANY_ROOM = (ZERO_CELSIUS + 12.0, ZERO_CELSIUS + 33.0)
"""The air of a room that nobody measured, K."""
STEP_S = 6.0
"""Within so long a probe put into stirred water makes the most of its step; in still air it takes ten times as long."""


def shown(
    side: str, temperature: LoggedQuantity, stretch: Plateau, span: tuple[float, float], room: StatedValue | None,
    first_level: float | None = None, said: bool = False, other: Plateau | None = None,
) -> str | NotFound:  # fmt: skip
    """What shows that a still stretch was read in the load, in words; or the refusal of one that air explains as well.

    Args:
        side: BEFORE or AFTER heating; span: start and stop of heating, s, with the probe out of the load.
        room: its temperature, K, as stated; None where nobody measured it.
        first_level: of the load before heating, K, where it was shown.
        said: the person stirred with the probe in the load, and says so.
        other: the same side's stretch of the other vessel, read by the same probe.
    """
    level = stretch.line.level
    air = temperature.between(span[0] + 0.25 * (span[1] - span[0]), span[1])
    if room is not None and len(air) and abs(median(air.values) - room.value) > NO_AIR_K + (room.half_width or 0.0):
        return _nowhere(median(air.values))
    blur = max(1.5 * temperature.resolution, 6.0 * stretch.line.scatter / math.sqrt(len(stretch.readings)))
    apart = max(APART_K, blur)
    stood = f"the probe stood in the load {side} heating: "
    if side == BEFORE and len(air) >= FEWEST:
        moved = median(air.values[-FEWEST:]) - level
        onset = temperature.between(span[0], span[0] + SOON_S).values
        soon = math.copysign(1.0, moved) * (median(onset) - level) if len(onset) >= FEWEST else 0.0
        if abs(moved) > max(LEVEL_K, blur) or (abs(moved) > max(ONSET_K, blur) and soon > max(ONSET_K, blur)):
            return stood + f"it read {moved:+.1f} K from there once it was out"
    elif _is_no_air(level, air, room, apart, warmed=WARMED_K if side == AFTER else 0.0):
        return stood + f"{level - ZERO_CELSIUS:.1f} °C is no temperature that the air has"
    elif side == BEFORE and not len(air) and room is None:
        return stood + "said by a log that is empty while the probe was out, not seen"
    step = _step(side, temperature, stretch, air, span, apart)
    if step is not None:
        return stood + f"readings stepped by {step:+.1f} K as it {'left' if side == BEFORE else 'came back'}"
    if side == AFTER and not len(air) and _falls(stretch, level, first_level, apart):
        return stood + f"they fall by {-stretch.line.slope * 60.0:.2f} K a minute, as the air never does here"
    if other is not None and abs(other.line.level - level) > apart:
        return stood + "the vessels stand at levels apart"
    if said:
        return stood + "said, not seen"
    return _not_shown(side, level)


def air_about(temperature: LoggedQuantity, start: float, stop: float, room: float) -> float:
    """The air's temperature, K: between the room's and what a probe out of the load read late in heating."""
    late = temperature.between((start + stop) / 2.0, stop)
    return (median(late.values[-5:]) + room) / 2.0 if len(late) >= FEWEST else room


def fell(meanwhile: LoggedQuantity, level: float) -> NotFound | None:
    """The refusal of a level before heating that the load had not: a load that is heated does not cool."""
    lowest = min(meanwhile.values)
    if lowest > level - APART_K:
        return None
    return NotFound(
        what="stable start",
        why=f"the readings fall by {level - lowest:.1f} K once heating has begun: before, the probe was not in the "
        "load",
        advice="put the probe in the load, and log it for 30 s before switching on",
    )


def _not_shown(side: str, level: float) -> NotFound:
    celsius = f"{level - ZERO_CELSIUS:.1f} °C"
    if side == AFTER:
        return NotFound(
            what=NOT_SHOWN,
            why=f"the readings after heating stand at {celsius}, as a probe in the room's air would: nothing shows "
            "that it went back into the load",
            advice="stir with the probe in the load and hold it there for 20 s more, or say that you did (--stirred "
            "after); a load that ends 3 K or more from the room's temperature shows it by itself",
        )
    return NotFound(
        what=NOT_SHOWN,
        why=f"the readings before heating stand at {celsius}, as a probe in the room's air would: nothing shows that "
        "it stood in the load",
        advice="state the room (--ambient), start with a load 3 K or more from its temperature, or say that you "
        "stirred with the probe in the load (--stirred before)",
    )


def _nowhere(read: float) -> NotFound:
    return NotFound(
        what=NOT_SHOWN,
        why=f"while it was heated the probe read {read - ZERO_CELSIUS:.1f} °C, which is neither the load's straight "
        "rise nor the room's air",
        advice="keep the probe in the load from before heating to the end, or out of it while it is heated",
    )


def _is_no_air(level: float, air: LoggedQuantity, room: StatedValue | None, apart: float, *, warmed: float) -> bool:
    """Whether a level is none that the air gives: by what was stated of the room, and by what the probe read in it."""
    far = max(LEVEL_K, apart)
    read = _air_read(air)
    bands = [(read[0] - far, read[1] + far)] if read is not None else []
    if room is not None:
        doubt = (room.half_width or 0.0) + OFFSET_K + (far if len(air) and read is None else 0.0)
        bands.append((room.value - doubt, room.value + doubt + warmed))
    return not any(low <= level <= high for low, high in bands or [ANY_ROOM])


def _air_read(air: LoggedQuantity) -> tuple[float, float] | None:
    """The lowest and highest that the probe is taken to read in the air, from what it read there last; None if nothing.

    A probe that still drifts is taken to go on by three times what it drifted of late.
    """
    late = air.between(air.times[-1] - (air.times[-1] - air.times[0]) / 2.0, air.times[-1]) if len(air) else air
    if len(late) < FEWEST:
        return None
    line = fits.fit_line(late.times, late.values)
    last = median(late.values[-FEWEST:])
    onward = last + 3.0 * line.slope * (late.times[-1] - late.times[0])
    return min(last, onward), max(last, onward)


def _step(
    side: str,
    temperature: LoggedQuantity,
    stretch: Plateau,
    air: LoggedQuantity,
    span: tuple[float, float],
    apart: float,
) -> float | None:
    """The step, K, with which the probe left or came back, faster than it drifts in air; None where there is none."""
    edge = span[0] if side == BEFORE else span[1]
    wide = max(STEP_S, 2.0 * temperature.interval)
    about = (
        temperature.between(stretch.last - wide, min(edge + 2.0 * wide, span[1]))
        if side == BEFORE
        else temperature.between(edge - wide, max(stretch.first + 2.0 * wide, edge + 2.0 * wide))
    )
    drifting = air.between((span[0] + span[1]) / 2.0, math.inf) if side == AFTER else air
    steepest = max((abs(b - a) for (_, a), (_, b) in _windows(drifting, wide)), default=0.0)
    moves = [b - a for (_, a), (_, b) in _windows(about, wide)]
    largest = max(moves, key=abs, default=0.0)
    if side == AFTER and len(air) and abs(stretch.line.level - median(air.values[-5:])) <= apart:
        return None
    draught = LEVEL_K if side == AFTER else 0.0
    return largest if abs(largest) > max(apart, draught, 2.0 * steepest + 4.0 * noise_of(temperature)) else None


def _windows(series: LoggedQuantity, wide: float) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Pairs of readings (time, value) that lie a window apart, no gap between them."""
    readings = list(zip(series.times, series.values, strict=True))
    usual = series.interval
    holes = [b for a, b in pairwise(series.times) if b - a > 2.5 * usual]
    out, j = [], 0
    for first in readings:
        while j < len(readings) and readings[j][0] < first[0] + wide - 1e-9:
            j += 1
        last = readings[min(j, len(readings) - 1)]
        if last[0] > first[0] and not any(first[0] < hole <= last[0] for hole in holes):
            out.append((first, last))
    return out


def _falls(stretch: Plateau, level: float, first_level: float | None, apart: float) -> bool:
    """Whether it cools, clearly, from above the load's first level: air that warmed the probe would do so on."""
    line = stretch.line
    return first_level is not None and level > first_level + apart and line.slope < -4.0 * line.u_slope - 5e-4
