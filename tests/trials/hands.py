"""Hands on a bench with a truth of their own: what the tips lie on, what is really there, what a meter shows of it.

Nothing here knows the product: places have volts or ohms by the laws of a circuit, a meter looks at them at
its own pace, and a person moves by what is heard (`Ears`) and by habits. Habits and durations are invented;
real hands will differ.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from bench_streams import OPEN, RANGES

from meterlog.base.readings import Bound, Form, Reading

Law = Callable[[float], float]
"""What a place shows a meter, SI: of the seconds for which the tips have been on it, or since they first were."""


@dataclass(frozen=True)
class Place:
    """Where tips can be. `truth` is what is really there, whatever a meter shows of it."""

    name: str
    shows: Law
    truth: Law
    bounce_s: float = 0.2
    is_open: bool = False
    runs_alone: bool = False


def steady(name: str, value: float, bounce_s: float = 0.2) -> Place:
    return Place(name, lambda _: value, lambda _: value, bounce_s)


def floating(name: str) -> Place:
    """Points that nothing drives and nothing joins: a meter reads what the air gives."""
    return Place(name, lambda _: math.nan, lambda _: 0.0, is_open=True)


def charge(name: str, volts: float, tau_s: float) -> Place:
    """A capacitor that runs down through the meter's own resistance while the tips are on it."""
    law: Law = lambda t: volts * math.exp(-t / tau_s)  # noqa: E731
    return Place(name, law, law)


def returning(name: str, low: float, volts: float, tau_s: float) -> Place:
    """A capacitor that was shorted for a moment: its dielectric gives charge back."""
    law: Law = lambda t: low + (volts - low) * (1 - math.exp(-t / tau_s))  # noqa: E731
    return Place(name, law, law, runs_alone=True)


@dataclass
class Bench:
    """One meter on one function, leads, and the air around them.

    `rate` in readings a second; `ranges_a_reading` how fast it hunts (0: it stays on `first_range`);
    `lag_s` of its filter; `hum` volts that leads in the air pick up, and points that float with them;
    `noise` in counts; `drop` the part of readings that get lost.
    """

    quantity: str
    mode: str
    rate: float
    ranges_a_reading: int
    lag_s: float
    hum: float
    noise: int
    drop: float
    lead_ohms: float
    rng: random.Random
    first_range: int = 0
    at: float = 0.0
    place: Place | None = None
    _since: float = 0.0
    _level: float = 0.0
    _came_from: float = 0.0
    _phase: float = 0.0
    _next: float = 0.0
    visits: list[tuple[float, Place | None]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._range = self.first_range

    def move(self, place: Place | None) -> None:
        """Tips onto a place, None for the air."""
        self._came_from, self.place, self._since = self._now(), place, self.at
        self.visits.append((self.at, place))

    def stays(self, begin: float, end: float) -> Iterator[tuple[Place | None, float, float]]:
        """Where the tips were between two moments: each place, its first and its last moment there."""
        ends = [at for at, _ in self.visits[1:]] + [math.inf]
        for (at, place), until in zip(self.visits, ends, strict=True):
            if at < end and until > begin:
                yield place, max(at, begin), min(until, end)

    def truth(self, place: Place, at: float) -> float:
        """What is really at a place at a moment."""
        return place.truth(self._seconds(place, at))

    def _seconds(self, place: Place, at: float) -> float:
        mine = [(begin, end) for each, begin, end in self.stays(0.0, at) if each is place]
        if place.runs_alone:
            return at - mine[0][0] if mine else 0.0
        return sum(end - begin for begin, end in mine)

    def air(self) -> float:
        """What the open leads show at this moment."""
        if self.quantity == "resistance":
            return OPEN
        swing = 0.55 + 0.35 * math.sin(0.9 * self.at + self._phase) + 0.1 * self.rng.uniform(-1, 1)
        return self.hum * swing if self.mode == "ac" else self.hum * 0.01 * (swing - 0.5)

    def _now(self) -> float:
        if self.place is None:
            return self.air()
        into = self.at - self._since
        if into < self.place.bounce_s and self.rng.random() < 0.5:
            return self._came_from
        value = self.place.shows(self._seconds(self.place, self.at))
        if math.isnan(value):
            return self.air()
        return value + self.lead_ohms if self.quantity == "resistance" else value

    def readings(self, until: float) -> Iterator[tuple[float, Reading]]:
        """What the meter sends until then, at its own pace whatever hands do."""
        period = 1 / self.rate
        while self._next <= until:
            self.at = max(self.at, self._next)
            self._next += period * (1 + self.rng.uniform(-0.03, 0.03))
            reading = self._look(period)
            if self.rng.random() >= self.drop:
                yield round(self.at, 3), reading

    def _look(self, period: float) -> Reading:
        real = self._now()
        if self.lag_s and math.isfinite(real) and math.isfinite(self._level):
            self._level = real + (self._level - real) * math.exp(-period / self.lag_s)
        else:
            self._level = real
        ranges = RANGES[self.quantity]
        for _ in range(self.ranges_a_reading):
            if abs(self._level) > ranges[self._range][0] and self._range + 1 < len(ranges):
                self._range += 1
            elif self._range and abs(self._level) < 0.09 * ranges[self._range][0]:
                self._range -= 1
        return self._show()

    def _show(self) -> Reading:
        top, scale, unit, decimals = RANGES[self.quantity][self._range]
        kind = {"quantity": self.quantity, "mode": self.mode, "unit": unit, "scale": scale, "decimals": decimals}
        if abs(self._level) > top:
            return Reading(_form(**kind, range_top=top, bound=Bound.OVERLOAD), None)
        counts = round(self._level / scale * 10**decimals) + self.rng.randint(-self.noise, self.noise)
        return Reading(_form(**kind, range_top=top), counts)


_FORMS: dict[tuple, Form] = {}


def _form(**parts) -> Form:
    key = tuple(sorted((name, str(value)) for name, value in parts.items()))
    return _FORMS.setdefault(key, Form(**parts))
