"""What an instrument's manual says of its accuracy at one range, and the error that it allows."""

from __future__ import annotations

import re
from dataclasses import dataclass

from meterlog.base.errors import WrongValue
from meterlog.base.spelling import NUMBER, tidy
from meterlog.base.units import bounded, same_kind, si_factor

HINT = 'write "0.5 % + 3 counts" or "2 % + 0.1 ohm"'
MOST_COUNTS = 100_000.0
_COUNTS = r"counts?|digits?|digs?|dgts?|d|lsd"
_TERM = re.compile(rf"({NUMBER})\s*(.*)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """± (part of reading + counts of the last digit + floor): the largest error the maker allows.

    Attributes:
        part_of_reading: ratio, 0.005 for 0.5 %.
        counts: steps of the last digit.
        floor: fixed amount, SI.
        temperature_span: (low, high) ambient in K where the figure holds, None where not told.
        temperature_part_per_k: how much of itself the figure grows by per K outside the span
            (0.1 for "0.1 × specified accuracy per °C").
        temperature_reading_part_per_k: part of *reading* added per K outside the span.
        coverage: "rectangular" when the figure is a limit, or the k of an expanded uncertainty.
        source: manual and page.
    """

    part_of_reading: float = 0.0
    counts: float = 0.0
    floor: float = 0.0
    temperature_span: tuple[float, float] | None = None
    temperature_part_per_k: float = 0.0
    temperature_reading_part_per_k: float = 0.0
    coverage: str | float = "rectangular"
    source: str = ""

    def half_width(self, value: float, resolution: float) -> float:
        """Largest error at a value within the temperature span, SI: a |y| + n d + floor.

        >>> round(Accuracy(part_of_reading=0.01, counts=3).half_width(0.34, 0.01), 4)
        0.0334
        """
        return self.part_of_reading * abs(value) + self.counts * resolution + self.floor

    def kelvins_outside(self, ambient: float | None) -> float:
        """How far an ambient temperature in K lies outside the span; 0 inside, or when either is unknown."""
        if ambient is None or self.temperature_span is None:
            return 0.0
        low, high = self.temperature_span
        return max(low - ambient, ambient - high, 0.0)

    def temperature_widening(self, value: float, resolution: float, ambient: float | None) -> float:
        """What the ambient temperature adds to the half width, SI."""
        per_kelvin = self.temperature_part_per_k * self.half_width(value, resolution)
        per_kelvin += self.temperature_reading_part_per_k * abs(value)
        return self.kelvins_outside(ambient) * per_kelvin


def parse_accuracy(text: str, like: str = "", source: str = "") -> Accuracy:
    """The accuracy a manual prints: percent of reading, counts (or digits), and amounts with a unit.

    Args:
        like: a unit of the quantity; an amount of another kind is refused. "" takes any unit.

    Raises: WrongValue, with what to write.

    >>> parse_accuracy("± (0.5 % of reading + 3 digits)") == Accuracy(part_of_reading=0.005, counts=3)
    True
    """
    plain = tidy(text).replace("±", " ").replace("(", " ").replace(")", " ")
    if not text.count("(") == text.count(")") <= 1:
        raise WrongValue(f"{text!r} is no accuracy: {HINT}")
    sums = {"part": 0.0, "counts": 0.0, "floor": 0.0}
    for term in plain.split("+"):
        kind, amount = _term(term.strip(), text, like)
        sums[kind] += amount
    return Accuracy(part_of_reading=sums["part"], counts=sums["counts"], floor=sums["floor"], source=source)


def _term(term: str, text: str, like: str) -> tuple[str, float]:
    match = _TERM.fullmatch(term)
    if not match or float(match[1]) < 0:
        raise WrongValue(f"{text!r} is no accuracy: {HINT}")
    number, unit = float(match[1]), match[2].strip()
    if re.fullmatch(r"(%|percent)( ?(of )?(the )?(reading|rdg|value|mv))?", unit, re.IGNORECASE):
        return "part", _part(number / 100.0, text)
    if re.fullmatch(r"ppm( ?(of )?(the )?(reading|rdg|value))?", unit, re.IGNORECASE):
        return "part", _part(number / 1e6, text)
    if re.fullmatch(_COUNTS, unit, re.IGNORECASE):
        if number > MOST_COUNTS:
            raise WrongValue(f"no display is wrong by so many counts: {text!r}")
        return "counts", number
    if not unit or "%" in unit:
        raise WrongValue(f"{term!r} in {text!r} has no unit: {HINT}" if not unit else f"{unit!r} is of what? {HINT}")
    if like and not same_kind(unit, like):
        raise WrongValue(f"expected a unit like {like}, saw {unit!r} in {text!r}")
    return "floor", bounded(number * si_factor(unit)[0], text)  # the scale alone: 0.5 degC of error is 0.5 K


def _part(part: float, text: str) -> float:
    if part > 1.0:
        raise WrongValue(f"an instrument that may be wrong by more than its reading measures nothing: {text!r}")
    return part
