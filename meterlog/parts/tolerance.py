"""Tolerance letters and the band of values that a tolerance allows (IEC 60062 and makers' habits)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

BELOW_10_PF = 10e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """How far a value may lie from its marking.

    Attributes:
        below, above: parts of the value, both positive ("± 10 %" is 0.1 and 0.1); SI when `is_absolute`.
        text: as a person writes it.
        source, mark: where its meaning comes from, and how that was seen.
    """

    below: float
    above: float
    text: str
    is_absolute: bool = False
    source: str = "as marked"
    mark: str = "read"

    def band(self, value: float) -> tuple[float, float]:
        """(lowest, highest) value allowed, SI."""
        step = 1.0 if self.is_absolute else value
        return value - self.below * step, value + self.above * step


class _Letter(NamedTuple):
    below: float  # percent
    above: float
    mark: str
    note: str = ""


_CODE = "tolerance letters of IEC 60062, on code tables"
_LETTERS: dict[str, _Letter] = {
    "B": _Letter(0.1, 0.1, "memory"),
    "C": _Letter(0.25, 0.25, "memory"),
    "D": _Letter(0.5, 0.5, "memory"),
    "E": _Letter(0.005, 0.005, "memory"),
    "F": _Letter(1, 1, "read"),
    "G": _Letter(2, 2, "read"),
    "H": _Letter(3, 3, "read", "an older list gives H as ± 2.5 %"),
    "J": _Letter(5, 5, "read"),
    "K": _Letter(10, 10, "read"),
    "L": _Letter(0.01, 0.01, "memory", "one list gives L as ± 15 %"),
    "M": _Letter(20, 20, "read"),
    "N": _Letter(30, 30, "read", "one list gives N as ± 0.05 %"),
    "P": _Letter(0.02, 0.02, "read"),
    "Q": _Letter(10, 30, "memory"),
    "S": _Letter(20, 50, "read"),
    "T": _Letter(10, 50, "read"),
    "W": _Letter(0.05, 0.05, "read", "one list gives W as − 0 + 200 %"),
    "Z": _Letter(20, 80, "read"),
}
_RESISTOR_ONLY = "ELPW"
_CAPACITOR_ONLY = "QSTZ"
_PICOFARADS = {"B": 0.1, "C": 0.25, "D": 0.5, "F": 1.0, "G": 2.0}
_MEMORY_PICOFARADS = "FG"
_UNKNOWN = {
    "A": "A means a tolerance agreed elsewhere; one maker uses it for ± 0.05 pF",
    "X": "one list gives X as − 20 + 40 %; no standard was seen to say so",
}


def of_letter(letter: str, *, farads: float | None = None) -> tuple[Tolerance | None, str]:
    """(tolerance, note) of a letter on a resistor, or on a capacitor of a value in farads.

    The tolerance is None where the letter does not say, and then the note tells why.
    """
    if letter in _UNKNOWN:
        return None, _UNKNOWN[letter]
    if farads is not None and letter == "P":
        habit = Tolerance(below=0.0, above=1.0, text="−0 +100 %", source="makers' practice on capacitors", mark="read")
        return habit, "P on a resistor is ± 0.02 %"
    only = _RESISTOR_ONLY if farads is not None else _CAPACITOR_ONLY
    if letter not in _LETTERS or letter in only:
        return None, f"{letter} is no tolerance letter of a {'capacitor' if farads is not None else 'resistor'}"
    if farads is not None and farads < BELOW_10_PF * (1 - 1e-9) and letter in _PICOFARADS:
        return _picofarads(letter), ""
    found = _LETTERS[letter]
    tolerance = Tolerance(
        below=found.below / 100,
        above=found.above / 100,
        text=f"± {found.above:g} %" if found.below == found.above else f"−{found.below:g} +{found.above:g} %",
        source=_CODE,
        mark=found.mark,
    )
    return tolerance, found.note


def _picofarads(letter: str) -> Tolerance:
    size = _PICOFARADS[letter]
    return Tolerance(
        below=size * 1e-12,
        above=size * 1e-12,
        text=f"± {size:g} pF",
        is_absolute=True,
        source=_CODE,
        mark="memory" if letter in _MEMORY_PICOFARADS else "read",
    )


_NUMBER = r"\d+(?:\.\d+)?"
WRITTEN = re.compile(
    rf"(?:±|\+/-|\+-)\s*(?P<both>{_NUMBER})\s*%"
    rf"|\+\s*(?P<up>{_NUMBER})\s*%?\s*[/,]?\s*[-−]\s*(?P<down>{_NUMBER})\s*%"
    rf"|[-−]\s*(?P<down2>{_NUMBER})\s*%?\s*[/,]?\s*\+\s*(?P<up2>{_NUMBER})\s*%"
    rf"|(?<![\w.])(?P<bare>{_NUMBER})\s*%"
)
"""A tolerance in percent as it is printed: "± 10 %", "10%", "+80 -20 %", "-10/+30%"."""


def of_match(match: re.Match[str]) -> Tolerance:
    """The tolerance of a match of `WRITTEN`."""
    both = match["both"] or match["bare"]
    below = float(both or match["down"] or match["down2"])
    above = float(both or match["up"] or match["up2"])
    text = f"± {above:g} %" if both else f"−{below:g} +{above:g} %"
    return Tolerance(below=below / 100, above=above / 100, text=text)
