"""Simulated bench streams of known truth: what a meter shows while someone measures by hand, hurried at times.

A `Script` is what the leads really are on, in pieces of time. A `Meter` looks at it at its own rate:
it hunts for its range, filters, adds noise of a few counts, jitters, drops readings, blanks, holds.
Habits and durations are invented; real hands will differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.base.readings import Bound, Form, Reading

if TYPE_CHECKING:
    import random

OHMS = [(6e2, 1.0, "ohm", 1), (6e3, 1e3, "kohm", 3), (6e4, 1e3, "kohm", 2), (6e5, 1e3, "kohm", 1),
        (6e6, 1e6, "Mohm", 3), (6e7, 1e6, "Mohm", 2)]  # fmt: skip
FARADS = [(6e-9, 1e-9, "nF", 3), (6e-8, 1e-9, "nF", 2), (6e-7, 1e-9, "nF", 1), (6e-6, 1e-6, "uF", 3),
          (6e-5, 1e-6, "uF", 2), (6e-4, 1e-6, "uF", 1)]  # fmt: skip
VOLTS = [(6e-1, 1e-3, "mV", 1), (6e0, 1.0, "V", 3), (6e1, 1.0, "V", 2), (6e2, 1.0, "V", 1)]
INSULATION = [(2e6, 1e6, "Mohm", 3), (2e7, 1e6, "Mohm", 2), (2e8, 1e6, "Mohm", 1), (2.2e9, 1e9, "Gohm", 2)]
RANGES = {
    "resistance": OHMS,
    "continuity": OHMS[:1],
    "capacitance": FARADS,
    "voltage": VOLTS,
    "junction_voltage": [(2.0, 1.0, "V", 3)],
    "insulation_resistance": INSULATION,
    "temperature": [(400.0, 1.0, "degC", 1)],
}  # top (SI), scale, unit, decimals; temperatures are in degC here
STRAY_FARAD = 9e-12
OPEN = math.inf
IDLE = None


@dataclass
class Piece:
    """What the leads are on for `seconds`: a value that goes to `value` with time constant `tau`, or wanders."""

    seconds: float
    value: float | None = OPEN
    tau: float = 0.0
    wander: float = 0.0  # part a second, of fingers
    beat: float = 0.0  # part, of an alternating voltage against the meter's rate
    creep: float = 0.0  # part by which it is off at first, fading with `tau`: a thermistor in a warm hand
    bounce: float = 0.0  # s at the beginning
    quantity: str = ""  # the dial is turned to it
    hold: bool = False
    key: str = ""  # the step that this contact answers


@dataclass
class Truth:
    """One contact that should become a capture of a step."""

    key: str
    began: float
    ended: float
    value: float | None
    tolerance: float


@dataclass
class Meter:
    rate: float = 3.0
    noise: int = 1
    jitter: float = 0.03
    drop: float = 0.01
    blanks: bool = False
    mode: dict[str, str] = field(default_factory=lambda: {"voltage": "dc"})

    def watch(self, script: list[Piece], rng: random.Random, quantity: str) -> list[tuple[float, Reading]]:
        """The readings that the meter sends while the script plays."""
        out: list[tuple[float, Reading]] = []
        at, period, place, shown, frozen = rng.uniform(0.0, 1 / self.rate), 1 / self.rate, 0, None, None
        begun = 0.0
        level: float | None = OPEN
        phase = rng.uniform(0, 2 * math.pi)
        hunt = max(1, round(3 / self.rate))
        for piece in script:
            if piece.quantity and piece.quantity != quantity:
                quantity, place, shown = piece.quantity, 0, None
            came_from = level
            while at < begun + piece.seconds:
                into = at - begun
                level = _level(piece, into, came_from, rng, phase)
                place, blank = self._range(quantity, place, level, hunt)
                reading = self._show(quantity, place, level, rng)
                if piece.hold:
                    frozen = frozen or reading
                    reading = Reading(_flagged(frozen.form), frozen.counts)
                else:
                    frozen = None
                shown = reading
                if not (blank and self.blanks) and rng.random() >= self.drop:
                    out.append((round(at, 3), shown))
                at += period * (1 + rng.uniform(-self.jitter, self.jitter))
            begun += piece.seconds
        return out

    def _range(self, quantity: str, place: int, level: float | None, hunt: int) -> tuple[int, bool]:
        """The range after this reading's hunting, and whether it is still hunting."""
        ranges = RANGES[quantity]
        if level is IDLE or quantity == "temperature":
            return place, False
        for _ in range(hunt):
            if abs(level) > ranges[place][0] and place + 1 < len(ranges):
                place += 1
            elif place and abs(level) < 0.09 * ranges[place][0]:
                place -= 1
        steady = (abs(level) <= ranges[place][0] or place + 1 == len(ranges)) and (
            place == 0 or abs(level) >= 0.09 * ranges[place][0]
        )
        return place, not steady

    def _show(self, quantity: str, place: int, level: float | None, rng: random.Random) -> Reading:
        top, scale, unit, decimals = RANGES[quantity][place]
        common = {"quantity": quantity, "unit": unit, "scale": scale, "mode": self.mode.get(quantity, "")}
        if quantity == "temperature":
            common["offset"] = 273.15
        if level is IDLE:
            return Reading(_form(**common, decimals=decimals), None)
        if abs(level) > top:
            above = quantity == "insulation_resistance"
            bound = Bound.ABOVE if above else Bound.OVERLOAD
            return Reading(_form(**common, decimals=decimals, bound=bound, range_top=top), 220 if above else None)
        counts = round(level / scale * 10**decimals) + rng.randint(-self.noise, self.noise)
        return Reading(_form(**common, decimals=decimals, range_top=top), counts)


_FORMS: dict[tuple, Form] = {}


def _form(**parts) -> Form:
    key = tuple(sorted((name, str(value)) for name, value in parts.items()))
    return _FORMS.setdefault(key, Form(**parts))


def _flagged(form: Form) -> Form:
    return Form(**{name: getattr(form, name) for name in form.__slots__} | {"flags": ("hold",)})


def _level(piece: Piece, into: float, came_from: float | None, rng: random.Random, phase: float) -> float | None:
    if into < piece.bounce and rng.random() < 0.5:
        return came_from
    value = piece.value
    if value is None or value in (OPEN, 0.0):
        return value
    if piece.creep:
        return value * (1 + piece.creep * math.exp(-into / piece.tau))
    if piece.wander:
        swing = math.sin(0.8 * into + phase) / 0.8 + 0.3 * math.sin(2.9 * into + 2 * phase)
        return value * (1 + piece.wander * (swing + 0.1 * rng.uniform(-1, 1)))
    if piece.tau:
        start = came_from if came_from not in (None, OPEN) else 0.0
        value += (start - value) * math.exp(-into / piece.tau)
    return value * (1 + piece.beat * math.sin(0.9 * into + phase))
