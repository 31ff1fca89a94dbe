"""Finding in a trace what a calorimetrist looks for: the still stretch before, the ramp, the plateau after.

Each search answers what it found or `NotFound`, with why and what to do. Times are of the trace's
clock, s; temperatures K.
"""

from __future__ import annotations

import math
import operator
from dataclasses import dataclass
from itertools import accumulate
from statistics import fmean, median
from typing import TYPE_CHECKING

from meterlog.heating.trace import fits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.heating.trace.columns import LoggedQuantity

SHORTEST_S = 8.0
"""A still stretch must last so long, and have four readings (10 s at 1 Hz: common practice, no source)."""
STILL_K_PER_S = 0.02
"""A stretch is still while its slope is below this ..."""
COOLING_PER_S = 0.003
"""... or it cools by less than this part of what it is above the room: 12 W/K of a litre."""
APPROACH_K = 1.0
"""So much of the approach to a plateau is looked at with it."""
MOVED_K = 0.6
"""A step this large between readings of a plateau, and five counts, is a moved probe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFound:
    """What was not found or not done, why, and what would make it possible."""

    what: str
    why: str
    advice: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plateau:
    """A still stretch of readings, with the line through it."""

    readings: LoggedQuantity
    line: fits.FittedLine

    @property
    def first(self) -> float:
        return self.readings.times[0]

    @property
    def last(self) -> float:
        return self.readings.times[-1]

    def settling_lag(self, most: float) -> float:
        """Time constant, s, with which readings still rise to the plateau; 0 where none is seen below `most`."""
        fit = fits.fit_ramp(self.readings, self.readings.values)
        return fit.lag if fit.tail < 0.0 and fit.lag < most else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ramp:
    """The straight rise between two levels: where its line meets theirs, s, and the readings on it."""

    first: float
    last: float
    readings: LoggedQuantity


def noise_of(series: LoggedQuantity) -> float:
    """Deviation of single readings from their neighbours, K: second differences over √6."""
    v = series.values
    if len(v) < 3:
        return series.resolution
    squares = [(a - 2.0 * b + c) ** 2 for a, b, c in zip(v, v[1:], v[2:], strict=False)]
    return (
        math.sqrt(median(squares) / 0.455 / 6.0)
        if median(squares)
        else math.sqrt(math.fsum(squares) / len(squares) / 6.0)
    )


def reach_of(series: LoggedQuantity) -> float:
    """How far to either side of a reading its slope is looked at, s."""
    return max(4.0, 2.0 * series.interval)


def still_stretches(series: LoggedQuantity, room: float) -> list[LoggedQuantity]:
    """The stretches whose slope over a few seconds stays small, at least `SHORTEST_S` long."""
    if len(series) < 4:
        return []
    reach = reach_of(series)
    noise = max(noise_of(series), 0.3 * series.resolution)
    still = [_is_still(series, i, reach, noise, room) for i in range(len(series))]
    out: list[LoggedQuantity] = []
    begun: int | None = None
    longest = 10.0 * series.interval
    for i, (quiet, t) in enumerate(zip([*still, False], [*series.times, math.inf], strict=True)):
        jump = i > 0 and i < len(series) and abs(series.values[i] - series.values[i - 1]) > _step(series, noise)
        broken = begun is not None and (not quiet or jump or t - series.times[i - 1] > longest)
        if broken and begun is not None:
            part = series.between(series.times[begun], series.times[i - 1])
            if len(part) >= 4 and part.times[-1] - part.times[0] >= SHORTEST_S:
                out.append(part)
            begun = None
        if begun is None and quiet:
            begun = i
    return out


def _step(series: LoggedQuantity, noise: float) -> float:
    return max(MOVED_K, 5.0 * series.resolution, 8.0 * noise)


def _is_still(series: LoggedQuantity, i: int, reach: float, noise: float, room: float) -> bool:
    times, values = series.times, series.values
    low = high = i
    while low > 0 and times[i] - times[low - 1] <= reach:
        low -= 1
    while high < len(times) - 1 and times[high + 1] - times[i] <= reach:
        high += 1
    if high - low < 2:
        return False
    middle = math.fsum(times[low : high + 1]) / (high - low + 1)
    spread = math.fsum((t - middle) ** 2 for t in times[low : high + 1])
    slope = math.fsum((times[k] - middle) * values[k] for k in range(low, high + 1)) / spread
    falling = STILL_K_PER_S + COOLING_PER_S * max(values[i] - room, 0.0)
    grace = 3.0 * noise / math.sqrt(spread)
    return -falling - grace <= slope <= STILL_K_PER_S + grace


def since_put_in(series: LoggedQuantity, room: float) -> LoggedQuantity:
    """The trace from where the probe stands in the load: what it read in the air before tells nothing of the load.

    The load was there when readings stood still for the longest before the rise, or when they were lowest, if that is
    clearly below.
    """
    hottest = series.values.index(max(series.values))
    half = (min(series.values) + series.values[hottest]) / 2.0
    below = [t for t, v in zip(series.times[:hottest], series.values[:hottest], strict=True) if v < half]
    if not below:
        return series
    early = series.between(-math.inf, below[-1])
    lowest = min(early.values)
    stood = before_heating(early, below[-1], room)
    if isinstance(stood, NotFound) or stood.line.level > lowest + APPROACH_K:
        last = max(t for t, v in zip(early.times, early.values, strict=True) if v <= lowest)
        return series.between(last, math.inf) if early.values[0] > lowest + APPROACH_K else series
    return series.between(stood.first, math.inf)


def before_heating(series: LoggedQuantity, start: float, room: float) -> Plateau | NotFound:
    """The still stretch in the load before heating: the longest, the later of two alike."""
    part = series.between(-math.inf, start)
    stretches = still_stretches(part, room)
    if not stretches:
        why = "no still stretch before the start" if len(part) > 3 else "too few readings before the start"
        return NotFound(what="stable start", why=why, advice="log the stirred load for 30 s before switching on")
    best = max(stretches, key=lambda s: (s.times[-1] - s.times[0]) * (1.3 if s is stretches[-1] else 1.0))
    return _plateau(best)


def after_heating(series: LoggedQuantity, stop: float, room: float) -> Plateau | NotFound:
    """The stirred plateau after heating: the hottest long still stretch."""
    part = series.between(stop, math.inf)
    if len(part) < 4:
        why = "the trace ends before a plateau could form"
        return NotFound(what="plateau", why=why, advice="stir, and log for a minute after switching off")
    stretches = still_stretches(part, room)
    if not stretches:
        return _why_no_plateau(part, room)
    hottest = max(max(s.values) for s in stretches)
    hot = [s for s in stretches if max(s.values) > hottest - 1.0]
    best = max(hot, key=lambda s: s.times[-1] - s.times[0])
    return _moved(part, best) or _wandered(part, best, stretches) or _plateau(_with_approach(part, best))


def _wandered(part: LoggedQuantity, plateau: LoggedQuantity, stretches: list[LoggedQuantity]) -> NotFound | None:
    """A temperature that stays about the plateau's but is mostly not still: layers drift past the probe."""
    level = fmean(plateau.values)
    about = [t for t, v in zip(part.times, part.values, strict=True) if t >= plateau.times[0] and abs(v - level) < 2.0]
    quiet = sum(len(s.between(about[0], about[-1])) for s in stretches)
    return None if quiet > 0.6 * len(about) else _WANDERS


def cooling_from(series: LoggedQuantity) -> Plateau | None:
    """The cooling after boiling, from a kelvin below the hottest on; None when it was not logged for a while."""
    edge = max(series.values) - 1.0
    last = max(t for t, v in zip(series.times, series.values, strict=True) if v >= edge)
    part = series.between(last, math.inf)
    if len(part) < 6 or part.times[-1] - part.times[0] < 3.0 * SHORTEST_S:
        return None
    return _plateau(part)


def _with_approach(part: LoggedQuantity, plateau: LoggedQuantity) -> LoggedQuantity:
    """The plateau with the last of the approach to it: the readings just before that rise or fall steadily.

    They fix the time constant of a lagging probe far better than what is left of it on the plateau.
    """
    first = part.times.index(plateau.times[0])
    values, noise = part.values, max(noise_of(part), 0.3 * part.resolution)
    level = fmean(values[first : first + 3])
    sign = 1.0 if values[max(first - 1, 0)] <= level else -1.0
    longest = 3.0 * part.interval
    while first > 0 and part.times[first] - part.times[first - 1] <= longest:
        below = sign * (level - values[first - 1])
        if not -2.0 * noise <= below <= APPROACH_K or sign * (values[first] - values[first - 1]) < -3.0 * noise:
            break
        first -= 1
    return part.between(part.times[first], plateau.times[-1])


def _moved(series: LoggedQuantity, plateau: LoggedQuantity) -> NotFound | None:
    """A jump after the plateau began: the probe came out, or went elsewhere."""
    noise = max(noise_of(plateau), 0.3 * series.resolution)
    later = series.between(plateau.times[0], math.inf)
    for (t, a), b in zip(zip(later.times, later.values, strict=True), later.values[1:], strict=False):
        if abs(b - a) > _step(plateau, noise):
            why = f"the probe moved: {b - a:+.1f} K at {t:g} s, after the plateau had begun"
            return NotFound(
                what="plateau", why=why, advice="hold the probe still in the stirred load, and repeat the run"
            )
    return None


def _why_no_plateau(part: LoggedQuantity, room: float) -> NotFound:
    tail = part.between(part.times[-1] - max(20.0, 5.0 * part.interval), math.inf)
    line = fits.fit_line(tail.times, tail.values) if len(tail) > 2 else None
    if line and line.slope > 2.0 * line.u_slope and line.slope > STILL_K_PER_S:
        why = f"still rising by {line.slope:.3f} K/s at the end: no plateau"
        return NotFound(what="plateau", why=why, advice="stir, and go on logging until the temperature stands for 30 s")
    return _WANDERS


_WANDERS = NotFound(
    what="plateau",
    why="the load was not stirred, or the probe not held still: the temperature wanders after heating",
    advice="stir for ten seconds, hold the probe at mid depth, and repeat the run",
)


def _plateau(series: LoggedQuantity) -> Plateau:
    return Plateau(readings=series, line=fits.fit_line(series.times, series.values))


class _Sums:
    """Running sums over a series, so that the residual of a line or parabola over any part costs a few operations."""

    def __init__(self, times: Sequence[float], values: Sequence[float]) -> None:
        first, self._length = times[0], times[-1] - times[0]
        rows = [(0.0,) * 7]
        for t, y in zip(((t - first) / self._length for t in times), (v - values[0] for v in values), strict=True):
            terms = (t, t * t, t**3, t**4, y, t * y, t * t * y)
            rows.append(tuple(map(operator.add, rows[-1], terms)))
        self._rows = rows
        self._squares = [0.0, *accumulate((v - values[0]) ** 2 for v in values)]

    def _part(self, first: int, last: int) -> tuple[float, ...]:
        return tuple(map(operator.sub, self._rows[last], self._rows[first]))

    def line(self, first: int, last: int) -> tuple[float, float]:
        """(residual square, slope) of the line through readings first..last-1."""
        n = last - first
        t, tt, _, _, y, ty, _ = self._part(first, last)
        stt, sty = tt - t * t / n, ty - t * y / n
        slope = sty / stt if stt > 0.0 else 0.0
        square = self._squares[last] - self._squares[first] - y * y / n
        return max(square - slope * sty, 0.0), slope / self._length

    def arc(self, first: int, last: int) -> tuple[float, float]:
        """(residual square, mean slope) of the parabola: a ramp that the room bends."""
        n = last - first
        t, tt, ttt, tttt, y, ty, tty = self._part(first, last)
        a, b, c = tt - t * t / n, ttt - t * tt / n, tttt - tt * tt / n
        p, q = ty - t * y / n, tty - tt * y / n
        bend = a * c - b * b
        if n < 6 or bend <= 1e-12 * a * c:
            return self.line(first, last)
        slope, curve = (p * c - q * b) / bend, (q * a - p * b) / bend
        square = self._squares[last] - self._squares[first] - y * y / n
        return max(square - slope * p - curve * q, 0.0), p / a / self._length


def find_ramp(series: LoggedQuantity) -> Ramp | NotFound:
    """The steepest rise between two flatter parts: line, gentle arc and line that leave the least residual.

    Refuses when nothing rises clearly, or the rise is a probe put into hot water rather than heating.
    """
    times, values = fits.thinned(series.times, series.values, 90)
    best: tuple[float, int, int] | None = None
    sums, n = _Sums(times, values), len(times)
    for i in range(n - 4):
        before, rising = sums.line(0, i + 1) if i > 1 else (0.0, 0.0)
        for j in range(i + 4, n + 1):
            square, slope = sums.arc(i, j)
            after, falling = sums.line(j - 1, n) if n - j > 1 else (0.0, 0.0)
            steepest = slope > 2.0 * max(abs(rising), abs(falling))
            if steepest and (best is None or before + square + after < best[0]):
                best = (before + square + after, i, j)
    if best is None:
        return _no_ramp("the temperature does not rise")
    _, i, j = best
    inside = series.between(times[i], times[j - 1])
    slope = sums.line(i, j)[1]
    rise = slope * (inside.times[-1] - inside.times[0])
    if rise < max(2.0, 10.0 * series.resolution) or len(inside) < 5:
        return _no_ramp(f"the temperature rises by only {rise:.1f} K, or too few readings see it")
    if sums.line(0, i + 1)[1] > 0.3 * slope and i > 3:
        return _no_ramp("the rise has no clear start")
    return Ramp(first=inside.times[0], last=inside.times[-1], readings=inside)


def _no_ramp(why: str) -> NotFound:
    advice = "give --start and --stop, or log the power, when the probe is not in the load throughout"
    return NotFound(what="start and stop of heating", why=why, advice=advice)
