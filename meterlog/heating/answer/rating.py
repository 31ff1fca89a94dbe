"""What the rating plate promises, and how far from it a useful power may be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.units import show
from meterlog.heating.stated import read_stated
from meterlog.judging.limit import Limit

if TYPE_CHECKING:
    from meterlog.heating.stated import StatedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class RatingTolerance:
    """A tolerance of a plate's figure, as parts of it, with where it comes from."""

    below: float
    above: float
    source: str
    mark: str


BANDS = {
    "output": RatingTolerance(
        below=0.15, above=0.15, source="a service manual; others print ± 10 %, IEC 60705 sets none", mark="read"
    ),
    "input": RatingTolerance(below=0.10, above=0.05, source="IEC 60335-1 cl. 10, table 1, above 200 W", mark="memory"),
}
"""Tolerances by what the plate's figure means. Input's upper allowance is at least 20 W."""

MEANINGS = {
    "output": "the plate is held as output, useful power; a kettle's, urn's or hob's plate states input: say so, as in "
    '"2000 W input"',
    "input": "the plate is held as electrical input: metered power while on is compared with it, not useful power",
}
"""What a plate's figure may mean, in words."""

METER = 0.02
"""Half width of a plug-in power meter, part of its reading (common practice, no source)."""


def read_plate(text: str) -> tuple[StatedValue, str]:
    """The plate's power, W, and its meaning, from "900 W", "900 W ± 10 %" or "2000 W input".

    Raises: WrongValue when it is no power.
    """
    words = text.strip()
    for meaning in MEANINGS:
        if words.endswith(f" {meaning}"):
            return read_stated(words.removesuffix(meaning), "watt"), meaning
    return read_stated(words, "watt"), "output"


def plate_limit(rated: StatedValue, meaning: str = "output") -> Limit:
    """The acceptance interval of a plate's figure. `meaning`: "output" or "input"."""
    if rated.half_width is not None:
        low, high, source, mark = rated.value - rated.half_width, rated.value + rated.half_width, "stated", ""
    else:
        band = BANDS[meaning]
        above = max(band.above * rated.value, 20.0) if meaning == "input" else band.above * rated.value
        low, high, source, mark = rated.value * (1.0 - band.below), rated.value + above, band.source, band.mark
    text = f"rated {show(rated.value, 'watt')}: {show(low, 'watt')} to {show(high, 'watt')}"
    return Limit(low=low, high=high, unit="watt", text=text, source=source, mark=mark)
