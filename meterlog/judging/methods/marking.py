"""A part against what is printed on it: its marking's value and tolerance make the limit."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal
from meterlog.judging.bands import band
from meterlog.judging.method import GIVEN, WORD, Input, Method
from meterlog.judging.result import nothing
from meterlog.parts.capacitor import decode_capacitor
from meterlog.parts.resistor import decode_resistor

if TYPE_CHECKING:
    from meterlog.judging.result import Result
    from meterlog.parts.part import Part


def capacitance_against_marking(
    capacitance: Result, below: Result, above: Result, marking: str = "", marked: Result | None = None
) -> Result:
    """A capacitance with the band of its marking (as printed), or of a marked value with a tolerance."""
    if marking:
        return _against(capacitance, decode_capacitor(marking), nominal(below.number), nominal(above.number))
    return _about(capacitance, marked, below, above)


def resistance_against_marking(
    resistance: Result, below: Result, above: Result, marking: str = "", marked: Result | None = None
) -> Result:
    """A resistance with the band of its marking (as printed), or of a marked value with a tolerance."""
    if marking:
        return _against(resistance, decode_resistor(marking), nominal(below.number), nominal(above.number))
    return _about(resistance, marked, below, above)


def _against(result: Result, readings: tuple[Part, ...], below: float, above: float) -> Result:
    """The likeliest reading of the marking; the tolerance of the step where it prints none."""
    part = readings[0]
    low, high = part.band or (part.value * (1 - below), part.value * (1 + above))
    told = part.tolerance
    tolerance = told.text if told else f"no tolerance printed, −{100 * below:g} % +{100 * above:g} % taken"
    mark = told.mark if told else "common practice"
    limit = band(result.quantity, low, high, f"marking read as {part.code}, {tolerance}", mark)
    line = f"marking: {part.code}, {part.value:.6g} {part.unit}, {tolerance}: {limit.text}"
    doubts = tuple(f"{note[:1].upper()}{note[1:]}." for note in (note.rstrip(".") for note in part.notes))
    if len(readings) > 1:
        doubts = (*doubts, f"The marking can be read in {len(readings)} ways.")
    return replace(result, limit=limit, doubts=(*result.doubts, *doubts), trail=(*result.trail, line))


def _about(result: Result, marked: Result | None, below: Result, above: Result) -> Result:
    if marked is None or marked.number is None:
        return nothing(result.quantity, "No marking and no marked value was given.", result)
    value, low, high = nominal(marked.number), nominal(below.number), nominal(above.number)
    limit = band(result.quantity, value * (1 - low), value * (1 + high), "marked value and tolerance", "read")
    line = f"marked {marked} −{100 * low:g} % +{100 * high:g} %: {limit.text}"
    return replace(result, limit=limit, trail=(*result.trail, line))


def _inputs(quantity: str, example: str) -> dict[str, Input]:
    return {
        quantity: Input(quantity, "of the part, isolated and discharged"),
        "marking": Input("", f"as printed, such as {example}", WORD, ""),
        "marked": Input(quantity, "the marked value, in place of the marking", GIVEN, ""),
        "below": Input("ratio", "tolerance below, where the marking prints none", GIVEN, "10 %"),
        "above": Input("ratio", "tolerance above, where the marking prints none", GIVEN, "10 %"),
    }


METHODS = (
    Method(
        name="capacitance against marking",
        title="Capacitance against its marking and tolerance.",
        gives="capacitance",
        inputs=_inputs("capacitance", '"474K 275V~ X2"'),
        find=capacitance_against_marking,
    ),
    Method(
        name="resistance against marking",
        title="Resistance of a resistor against its marking and tolerance.",
        gives="resistance",
        inputs=_inputs("resistance", '"4K7J"'),
        find=resistance_against_marking,
    ),
)
