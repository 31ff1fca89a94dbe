"""Resistor colour bands (IEC 60062:2016 + A1:2019), read from both ends where the colours allow it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.parts.part import Part
from meterlog.parts.preferred import SERIES, USUAL_TOLERANCE, series_of
from meterlog.parts.tolerance import Tolerance

if TYPE_CHECKING:
    from collections.abc import Sequence


class _Colour(NamedTuple):
    digit: int | None = None
    power: int | None = None
    percent: float | None = None
    ppm: int | None = None


_GREY = 0.0  # a tolerance that the pages do not agree on
COLOURS: dict[str, _Colour] = {
    "black": _Colour(0, 0, None, 250),
    "brown": _Colour(1, 1, 1, 100),
    "red": _Colour(2, 2, 2, 50),
    "orange": _Colour(3, 3, 0.05, 15),
    "yellow": _Colour(4, 4, 0.02, 25),
    "green": _Colour(5, 5, 0.5, 20),
    "blue": _Colour(6, 6, 0.25, 10),
    "violet": _Colour(7, 7, 0.1, 5),
    "grey": _Colour(8, 8, _GREY, 1),
    "white": _Colour(9, 9),
    "gold": _Colour(power=-1, percent=5),
    "silver": _Colour(power=-2, percent=10),
    "pink": _Colour(power=-3),
}
_ALSO = {"gray": "grey", "purple": "violet"}
_SOURCE = "IEC 60062:2016 + A1:2019, on two colour-code pages"
_GREY_NOTE = "grey as tolerance is printed as 0.01 %, 0.05 % or 0.1 %: undecided"
_DIRECTION = "the bands read from either end: measure it to decide"


def decode_bands(bands: str) -> tuple[Part, ...]:
    """Every way to read colour bands, the likelier direction first.

    A direction is likelier when its value is a preferred one of the series usual for its tolerance.
    Raises: WrongValue, when a colour is unknown or the bands can be read from neither end.

    >>> [part.value for part in decode_bands("yellow violet red gold")]
    [4700.0]
    """
    colours = [_colour(word) for word in re.split(r"[\s,/-]+", bands.strip().lower()) if word]
    if colours == ["black"]:
        link = Part(value=0.0, unit="ohm", code="colour bands", source=_SOURCE, mark="read second-hand")
        return (replace(link, notes=("a link: usually below 50 mohm; judged as continuity",)),)
    if not 3 <= len(colours) <= 6:
        raise WrongValue(f"a resistor has three to six bands (or one black), not {len(colours)}")
    read = [part for order in (colours, colours[::-1]) if (part := _read(order)) is not None]
    if not read:
        raise WrongValue(
            f"{' '.join(colours)} can be read from neither end\n"
            "  a digit is never gold, silver or pink, and the first is not black; look again, or measure"
        )
    if len(read) == 2 and colours != colours[::-1]:
        read = [replace(part, notes=(_DIRECTION, *part.notes)) for part in sorted(read, key=_likelihood, reverse=True)]
    return tuple(dict.fromkeys(read))


def _colour(word: str) -> str:
    name = _ALSO.get(word, word)
    if name not in COLOURS:
        raise WrongValue(f"{word!r} is no band's colour\n  {near_miss(word, COLOURS)}")
    return name


def _read(colours: Sequence[str]) -> Part | None:
    """The part that the bands mean in this order; None when they mean none."""
    digits_count = 2 if len(colours) < 5 else 3
    digits = [COLOURS[colour].digit for colour in colours[:digits_count]]
    power = COLOURS[colours[digits_count]].power
    if power is None or not digits[0] or None in digits:
        return None
    value = units.scaled(int("".join(map(str, digits))), -power, 1.0)
    part = Part(value=value, unit="ohm", code=f"{len(colours)} colour bands", source=_SOURCE, mark="read second-hand")
    if len(colours) == 3:
        none = Tolerance(below=0.2, above=0.2, text="± 20 %", source=_SOURCE, mark="read second-hand")
        return replace(part, tolerance=none)
    percent = COLOURS[colours[digits_count + 1]].percent
    ppm = COLOURS[colours[5]].ppm if len(colours) == 6 else None
    if percent is None or (len(colours) == 6 and ppm is None):
        return None
    part = replace(part, coefficient=None if ppm is None else ppm * 1e-6)
    if percent == _GREY:
        return replace(part, notes=(_GREY_NOTE,))
    told = Tolerance(
        below=percent / 100, above=percent / 100, text=f"± {percent:g} %", source=_SOURCE, mark="read second-hand"
    )
    return replace(part, tolerance=told)


def _likelihood(part: Part) -> int:
    """2 for a value of the series usual for its tolerance, 1 for any preferred value, else 0."""
    series = series_of(part.value)
    size = part.tolerance.above if part.tolerance else 0.0
    usual = {name for name in SERIES if USUAL_TOLERANCE[name] >= size}
    return 2 if usual & set(series) else 1 if series else 0
