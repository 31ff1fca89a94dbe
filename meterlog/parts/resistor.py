"""Resistor markings in letters and digits: RKM, three and four digits, EIA-96."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.spelling import LONGEST_MARKING, tidy
from meterlog.parts import tolerance
from meterlog.parts.part import Part
from meterlog.parts.preferred import SERIES
from meterlog.parts.tolerance import Tolerance

if TYPE_CHECKING:
    from collections.abc import Iterator

_RKM = re.compile(r"(?P<whole>\d*)(?P<letter>[RKMGTE])(?P<part>\d*)(?P<tolerance>[A-Z]?)")
_POWERS = {"R": 0, "E": 0, "K": 3, "M": 6, "G": 9, "T": 12}
_DIGITS = re.compile(r"(?P<significant>\d{2,3})(?P<zeros>\d)(?P<tolerance>[A-Z]?)")
_EIA96 = re.compile(r"(?P<index>\d\d)(?P<letter>[A-FHRSXYZ])")
_EIA96_POWERS = {"Z": -3, "Y": -2, "R": -2, "X": -1, "S": -1, "A": 0, "B": 1, "H": 1, "C": 2, "D": 3, "E": 4, "F": 5}
_WATTS = re.compile(r"(?<![\w./])(?P<above>\d+(?:\.\d+)?)(?:/(?P<below>[1-9]\d?))?\s*[Ww](?=\d|\s|$)")
_ONE_PERCENT = Tolerance(below=0.01, above=0.01, text="± 1 %", source="EIA-96 codes are ± 1 % parts", mark="read")


def decode_resistor(marking: str) -> tuple[Part, ...]:
    """Every way to read a resistor's marking, the likeliest first.

    Raises: WrongValue, when it is no marking known here.

    >>> [part.value for part in decode_resistor("4K7J")]
    [4700.0]
    """
    text = tidy(marking, LONGEST_MARKING).replace("\u2126", "Ω")
    power = _WATTS.search(text)
    if power:
        text = f"{text[: power.start()]} {text[power.end() :]}".strip()
    code = re.sub(r"(?<=[\d.])Ω", "R", text.upper()).replace(" ", "")
    found = [part for read in (_link, _rkm, _digits, _eia96) for part in read(code)] or list(_written(text))
    if power:
        found = [replace(part, power=_watts(power)) for part in found]
    if not found:
        raise WrongValue(
            f"{marking!r} is no resistor marking known here\n"
            '  write it as printed: "4K7J", "R47", "472", "4702", "66B"; or as a value: "4.7 kohm ± 5 %"'
        )
    return tuple(found)


def _part(value: float, code: str, source: str, mark: str, letter: str = "") -> Part:
    part = Part(value=value, unit="ohm", code=code, source=source, mark=mark)
    if not letter:
        return part
    found, note = tolerance.of_letter(letter)
    return replace(part, tolerance=found, notes=(note,) if note else ())


def _watts(match: re.Match[str]) -> float:
    """The power of "5W" or "1/4 W", W."""
    return float(match["above"]) / float(match["below"] or 1)


def _link(code: str) -> Iterator[Part]:
    if re.fullmatch(r"0{1,4}|0R0*", code):
        part = _part(0.0, "link", "zero-ohm link, on code tables", "read")
        yield replace(part, notes=("a link: usually below 50 mohm; judged as continuity",))


def _rkm(code: str) -> Iterator[Part]:
    match = _RKM.fullmatch(code)
    if not match or not (match["whole"] or match["part"]) or not int(match["whole"] + match["part"]):
        return
    power = _POWERS[match["letter"]]
    digits = match["whole"] + match["part"]
    value = units.scaled(int(digits), len(match["part"]) - power, 1.0)
    source, mark = "IEC 60062:2016 + A1:2019, on an encyclopedia page", "read"
    if match["letter"] == "E":
        source, mark = "E for ohm: common practice, no source", "common practice"
    yield _part(value, "letter at the decimal point (RKM)", source, mark, match["tolerance"])


def _digits(code: str) -> Iterator[Part]:
    match = _DIGITS.fullmatch(code)
    if not match or not int(match["significant"]):
        return
    value = units.scaled(int(match["significant"]), -int(match["zeros"]), 1.0)
    is_three = len(match["significant"]) == 2
    part = _part(value, "three digits" if is_three else "four digits", "code tables", "read", match["tolerance"])
    if match["tolerance"] and part.tolerance is None:
        return
    if not match["tolerance"]:
        text = "± 5 %" if is_three else "± 1 %"
        size = 0.05 if is_three else 0.01
        usual = Tolerance(below=size, above=size, text=text, source=f"usual for {part.code}, on code tables")
        part = replace(part, tolerance=usual)
    yield part


def _eia96(code: str) -> Iterator[Part]:
    match = _EIA96.fullmatch(code)
    if not match or not 1 <= int(match["index"]) <= 96:
        return
    value = units.scaled(SERIES["E96"][int(match["index"]) - 1], -_EIA96_POWERS[match["letter"]], 1.0)
    part = _part(value, "EIA-96", "code tables, two pages; digits follow the E96 rule", "read")
    yield replace(part, tolerance=_ONE_PERCENT)


def _written(text: str) -> Iterator[Part]:
    told = tolerance.WRITTEN.search(text)
    rest = (text[: told.start()] + text[told.end() :] if told else text).strip()
    match = re.fullmatch(r"([\d.]+) ?(?:([mkKMG]?)(?:ohms?|Ohms?|Ω|\u2126)|([kKM]))", rest)
    if not match:
        return
    try:
        value = units.parse(f"{match[1]} {(match[2] or match[3] or '').replace('K', 'k')}ohm", "ohm")
    except WrongValue:
        return
    if value > 0:
        part = _part(value, "a value with its unit", "as marked", "read")
        yield replace(part, tolerance=tolerance.of_match(told) if told else None)
