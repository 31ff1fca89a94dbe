"""When a run of readings is settled: length, spread and slope, by the instrument's own rate and resolution.

With p the instrument's period, r one step of the last digit and m the median, the last readings of a
run, all of one range, are settled when

    length            >= max(T, 4 p)   and   n >= 5 readings
    max - min         <= A r + B |m|
    |slope| x length  <= C r + D |m|

T must exceed the longest slip of a probe; A passes the noise, peak to peak; the slope test tells
settling from settled. A display of many digits sees the contact itself wander, and never stands so
still: a run within W that goes nowhere is settled too, its drift no more than half its spread (what
settles drifts by nearly all of it). The figures of `CRITERIA` come from trials on simulated bench streams
(`tests/trials/bench_trials.py` runs such trials again); a step may state its own.
"""

from __future__ import annotations

import math
import statistics
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from meterlog.base.readings import Capture, Form, Reading, changes_meaning
from meterlog.base.straight import straight

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.procedure.steps import Settling

PERIODS = 4
"""A window spans at least so many periods of the instrument."""
READINGS = 5
"""A window holds at least so many readings; matters below two a second."""
COVERAGE = 0.6
"""A window holds at least this part of the readings its length should have: a pause is no evidence."""
TRIED = (1.0, 1.25, 1.5, 2.0)
"""Runs of so many times the shortest length are tried."""
GAP_PERIODS = 3.0
GAP_S = 2.0
"""A silence longer than both ends a run."""
PACE_GAPS = 21
"""The period is the median of so many gaps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """T in seconds, A and C in counts of the last digit, B and D as parts of the median, n in readings, W in SI."""

    length_s: float = 2.4
    spread_counts: float = 6.0
    spread_part: float = 0.003
    slope_counts: float = 2.0
    slope_part: float = 0.002
    readings: int = READINGS
    wander: float = 0.0


GOES_NOWHERE = 0.5
"""A run whose drift is at most this part of its spread only wanders."""
CONTACT_OHMS = 0.05
"""Contacts held by hand wander within so much, ohm, peak to peak. Common practice, no source."""
LEADS_CRITERION = Criterion()
CRITERIA: dict[str, Criterion] = {
    "resistance": Criterion(wander=CONTACT_OHMS),
    "capacitance": Criterion(length_s=3.0, spread_part=0.004, slope_part=0.004),
    "insulation_resistance": Criterion(length_s=8.0, spread_part=0.015, slope_part=0.008),
    "temperature": Criterion(
        length_s=18.0, spread_counts=3.0, spread_part=0.0, slope_counts=1.5, slope_part=0.0, readings=12
    ),
}
"""By quantity; all others settle as `LEADS_CRITERION`."""


def criterion_for(quantity: str, own: Settling | None = None) -> Criterion:
    """The criterion of a quantity, with what a step states of its own in place of the table's."""
    table = CRITERIA.get(quantity, LEADS_CRITERION)
    if own is None:
        return table

    def either(stated: float | None, usual: float) -> float:
        return usual if stated is None else stated

    return Criterion(
        length_s=either(own.length_s, table.length_s),
        spread_counts=either(own.spread_counts, table.spread_counts),
        spread_part=either(own.spread_part, table.spread_part),
        slope_counts=either(own.slope_counts, table.slope_counts),
        slope_part=either(own.slope_part, table.slope_part),
        readings=table.readings,
        wander=table.wander,
    )


class Sample(NamedTuple):
    """A reading with its ordinal among its link's readings and its time, s."""

    ordinal: int
    at: float
    reading: Reading


class Pace:
    """The running median of the gaps between an instrument's readings, found when it is asked for."""

    __slots__ = ("_gaps", "_last", "_period")

    def __init__(self, since: float | None = None) -> None:
        self._gaps: deque[float] = deque(maxlen=PACE_GAPS)
        self._last = since
        self._period: float | None = 0.0

    def take(self, at: float) -> bool:
        """Count a reading at a time; whether a silence long enough to end a run came before it."""
        last, self._last = self._last, at
        if last is None:
            return False
        gap = at - last
        if gap > GAP_S and gap > self.longest_gap:
            return True
        self._gaps.append(gap)
        self._period = None
        return False

    def cut(self) -> None:
        """The readings are interrupted: the next one comes after a silence."""
        self._last = -math.inf

    @property
    def period(self) -> float:
        """The median, s; 0 before there is a gap."""
        if self._period is None:
            self._period = statistics.median(self._gaps)
        return self._period

    @property
    def longest_gap(self) -> float:
        """The longest silence that does not end a run, s."""
        return max(GAP_S, GAP_PERIODS * self.period)


def same_range(form: Form) -> tuple[object, ...]:
    """What readings of one run share: a capture never mixes two of these."""
    if not form.flags:
        return (form.unit, form.decimals, form.range, form.mode)
    return (form.unit, form.decimals, form.range, *function_of(form))


def function_of(form: Form) -> tuple[str, ...]:
    """What a display's numbers mean, range aside: its mode, and the flags that make a number another number."""
    return (form.mode, *changes_meaning(form.flags))


class Window:
    """The last readings of one range, as many as the longest run that is tried needs.

    Any of the last readings that satisfy the criterion are a settled run. The shortest is tried first,
    then longer ones: at few readings a second a few counts of noise can look like a slope over a short
    run, less over a longer one.
    """

    def __init__(self, criterion: Criterion) -> None:
        self.criterion = criterion
        self._samples: deque[Sample] = deque()
        self._range: tuple[object, ...] | None = None

    def clear(self) -> None:
        self._samples.clear()
        self._range = None

    def add(self, sample: Sample, period: float) -> Capture | None:
        """Take a reading that is a number; the settled run that ends with it, or None."""
        now = same_range(sample.reading.form)
        if now != self._range:
            self._samples.clear()
            self._range = now
        samples = self._samples
        samples.append(sample)
        needed = max(self.criterion.length_s, PERIODS * period)
        while sample.at - samples[0].at > TRIED[-1] * needed:
            samples.popleft()
        if sample.at - samples[0].at < needed:
            return None
        for run in self._runs(needed):
            ordered = sorted(_counts(each) for each in run)
            middle = abs(_in_counts(sample.reading.form, ordered[(len(ordered) - 1) // 2]))
            spread, form = ordered[-1] - ordered[0], sample.reading.form
            within = spread <= self.criterion.spread_counts + self.criterion.spread_part * middle
            wanders = spread * form.resolution <= self.criterion.wander
            if not (within or wanders):
                return None  # and so would every longer run be
            drift = abs(_slope(run)) * (run[-1].at - run[0].at)
            level = within and drift <= self.criterion.slope_counts + self.criterion.slope_part * middle
            if self._is_covered(run, period) and (level or (wanders and drift <= GOES_NOWHERE * spread)):
                return capture_of(run, "settled")
        return None

    def _runs(self, needed: float) -> Iterator[list[Sample]]:
        """Last readings that are long enough, and enough: the fewest for each length that is tried."""
        end, lengths = self._samples[-1].at, [needed * times for times in TRIED]
        run: list[Sample] = []
        for sample in reversed(self._samples):
            run.append(sample)
            if end - sample.at >= lengths[0] and len(run) >= self.criterion.readings:
                yield run[::-1]
                while lengths and end - sample.at >= lengths[0]:
                    del lengths[0]
                if not lengths:
                    return

    def _is_covered(self, run: list[Sample], period: float) -> bool:
        """Whether the readings are as many as the run's length should have, or nearly so."""
        expected = (run[-1].at - run[0].at) / period if period else 0.0
        return len(run) >= max(self.criterion.readings, COVERAGE * expected)


def _counts(sample: Sample) -> int:
    assert sample.reading.counts is not None, "a window takes numbers"
    return sample.reading.counts


def _in_counts(form: Form, counts: int) -> float:
    """An SI value in steps of the last digit: not the digits themselves where the unit has an offset."""
    return counts + form.offset / form.resolution


def _slope(samples: list[Sample]) -> float:
    """Least-squares slope, counts a second."""
    return straight([sample.at for sample in samples], [_counts(sample) for sample in samples]).slope


def capture_of(samples: list[Sample], how: str, proof: tuple[tuple[int, int], ...] = ()) -> Capture:
    """The capture of a run of numbers of one range: its (lower) median reading, as it was shown."""
    ordered = sorted(samples, key=_counts)
    chosen = ordered[(len(ordered) - 1) // 2].reading
    resolution = chosen.form.resolution
    values = [_counts(sample) for sample in ordered]
    return Capture(
        form=chosen.form,
        counts=chosen.counts,
        count=len(ordered),
        spread=(values[-1] - values[0]) * resolution,
        deviation=statistics.stdev(values) * resolution if len(values) > 1 else 0.0,
        started=samples[0].at,
        ended=samples[-1].at,
        first=samples[0].ordinal,
        last=samples[-1].ordinal,
        how=how,
        proof=proof,
    )


def _same_edge(one: Reading, other: Reading) -> bool:
    if one.form is other.form:
        return one.counts == other.counts
    same = one.form.bound is other.form.bound and one.counts == other.counts
    return same and same_range(one.form) == same_range(other.form)


class Held:
    """An unbroken run of one bound: the same edge, of the same range; `any_range` while a meter hunts through them."""

    def __init__(self, *, any_range: bool = False) -> None:
        self._any_range = any_range
        self.clear()

    def clear(self) -> None:
        self._first: Sample | None = None
        self._last: Sample | None = None
        self._count = 0

    def add(self, sample: Sample) -> float:
        """Take a bound; for how long this one has been held, s."""
        if self._last is None or not (self._any_range or _same_edge(self._last.reading, sample.reading)):
            self._first, self._count = sample, 0
        self._last, self._count = sample, self._count + 1
        assert self._first is not None
        return sample.at - self._first.at

    @property
    def last(self) -> Sample | None:
        """The last of the run, None before it has begun."""
        return self._last

    @property
    def length(self) -> float:
        return self._last.at - self._first.at if self._first and self._last else 0.0

    def capture(self, how: str, proof: tuple[tuple[int, int], ...] = ()) -> Capture:
        """The run as a capture. A bound has no spread."""
        assert self._first is not None
        assert self._last is not None
        return Capture(
            form=self._last.reading.form,
            counts=self._last.reading.counts,
            count=self._count,
            spread=0.0,
            deviation=0.0,
            started=self._first.at,
            ended=self._last.at,
            first=self._first.ordinal,
            last=self._last.ordinal,
            how=how,
            proof=proof,
        )
