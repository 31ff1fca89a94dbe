"""What the mains side tells: when the load was energised, warm-up, duty and period, average and energy.

A power column is true power. A current column tells times and duty only: its product with the
voltage is apparent power, which differs in the idle, warming and heating states.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.heating.trace.columns import LoggedQuantity

ENERGISED, HEATING = 0.15, 0.70
"""Parts of the plateau above idle: on from the first, heating from the second (common practice, no source)."""
LONGEST_WARM_UP_S = 6.0
REGULAR = 0.25
"""On-times that spread by less than this part are the cycling of a part-power level; others a thermostat's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTime:
    """Once energised: from and to, s, each known to ± half_width; warm_up, s, before full power."""

    start: float
    stop: float
    half_width: float
    warm_up: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycling:
    """A regular part-power level: how long on, how often, s, how many times, and how many whole cycles that is."""

    on_s: float
    period_s: float
    count: int
    cycles: float

    @property
    def duty(self) -> float:
        """Part of the time it is on."""
        return self.on_s / self.period_s


def on_times(series: LoggedQuantity) -> tuple[OnTime, ...]:
    """When the appliance was energised; empty when nothing was ever clearly on."""
    ordered = sorted(series.values)
    idle, full = ordered[len(ordered) // 50], ordered[-1 - len(ordered) // 50]
    upper = [v for v in ordered if v > (idle + full) / 2.0]
    if not upper or full <= 0.0 or full - idle < 0.1 * full:
        return ()
    idle = min(idle, 0.2 * full)
    plateau = upper[len(upper) // 2]
    on, heating = (idle + part * (plateau - idle) for part in (ENERGISED, HEATING))
    runs: list[OnTime] = []
    begun: int | None = None
    for i, value in enumerate([*series.values, -math.inf]):
        if value >= on and begun is None:
            begun = i
        elif value < on and begun is not None:
            if max(series.values[begun:i]) >= heating:
                runs.append(_on_time(series, begun, i, heating))
            begun = None
    return tuple(runs)


def _on_time(series: LoggedQuantity, first: int, end: int, heating: float) -> OnTime:
    """Edges lie half way between the readings that show them."""
    times = series.times

    def edge(i: int) -> float:
        return (times[i - 1] + times[i]) / 2.0 if 0 < i < len(times) else times[min(i, len(times) - 1)]

    full = next(i for i in range(first, end) if series.values[i] >= heating)
    warm = edge(full) - edge(first)
    return OnTime(
        start=edge(first), stop=edge(end), half_width=series.interval / 2.0,
        warm_up=warm if warm <= LONGEST_WARM_UP_S else 0.0,
    )  # fmt: skip


def cycling_of(runs: Sequence[OnTime]) -> Cycling | None:
    """The regular cycling of a part-power level, over whole cycles; None for one run or a thermostat's."""
    if len(runs) < 2 or is_blurred(runs):
        return None
    whole = runs[:-1]
    lengths = [run.stop - run.start for run in whole]
    periods = [b.start - a.start for a, b in pairwise(runs)]
    if len(runs) == 2 and not 0.75 < (runs[1].stop - runs[1].start) / lengths[0] < 1.3:
        return None
    if max(_spread(lengths), _spread(periods)) > REGULAR:
        return None
    on, period = sum(lengths) / len(lengths), sum(periods) / len(periods)
    last = (runs[-1].stop - runs[-1].start) / on
    return Cycling(on_s=on, period_s=period, count=len(runs), cycles=len(runs) - 1 + (1.0 if last > 0.85 else last))


def pauses(runs: Sequence[OnTime], start: float, stop: float) -> float:
    """How long it was off between on-times, s, within start and stop."""
    return sum(max(min(b.start, stop) - max(a.stop, start), 0.0) for a, b in pairwise(runs))


def is_blurred(runs: Sequence[OnTime]) -> bool:
    """Whether pauses or on-times are so short that a reading more or less makes much of them."""
    shortest = min(min(b.start - a.stop, a.stop - a.start) for a, b in pairwise(runs))
    return shortest < 6.0 * runs[0].half_width


def _spread(values: Sequence[float]) -> float:
    return (max(values) - min(values)) / (sum(values) / len(values)) / 2.0


def energy_drawn(power: LoggedQuantity, start: float, stop: float) -> float:
    """Electrical energy, J, from start to stop: each reading stands until half way to its neighbours."""
    total = 0.0
    for i, value in enumerate(power.values):
        left = (power.times[i - 1] + power.times[i]) / 2.0 if i else -math.inf
        right = (power.times[i] + power.times[i + 1]) / 2.0 if i + 1 < len(power.times) else math.inf
        total += value * max(min(right, stop) - max(left, start), 0.0)
    return total


def part_power(on_power: float, on_s: float, warm_up_s: float, period_s: float) -> float:
    """Average output, W, of a generator that needs a warm-up in every cycle: P max(0, t_on - t_w) / T."""
    return on_power * max(0.0, on_s - warm_up_s) / period_s
