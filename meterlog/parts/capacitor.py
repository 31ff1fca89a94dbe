"""Capacitor markings: value, tolerance letter, voltage and its code, suppression and run classes.

A marking is taken apart piece by piece, the surest first; what is left over is told, never guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.spelling import LONGEST_MARKING, tidy
from meterlog.parts import tolerance
from meterlog.parts.part import Part

if TYPE_CHECKING:
    from collections.abc import Iterator


VOLTAGE_LETTERS = {"A": 1.0, "B": 1.25, "C": 1.6, "D": 2.0, "E": 2.5, "F": 3.15, "G": 4.0, "H": 5.0, "J": 6.3, "K": 8.0}
VOLTAGE_EXCEPTIONS = {"0L": 5.5, "1V": 35.0, "2P": 220.0, "2Q": 110.0, "2V": 350.0, "2W": 450.0, "2Z": 180.0}
"""Two-character DC voltage code (EIA practice, code tables, read): R10 number × 10^digit, and what is off the rule."""

_CODE_TABLES = ("code tables of hobby pages", "read")
_RKM_SOURCE = ("IEC 60062", "memory")
_CLASS = re.compile(r"(?<![A-Za-z])([XYxy])([1-4])(?![0-9A-WZ])")
_RUN_SAFETY = re.compile(r"\b([SP])([0-3])\b")
_RUN_HOURS = re.compile(r"\bclass\s+([ABCD])\b", re.IGNORECASE)
_VOLTS = re.compile(
    r"(?<![\d.])(?![0-3]V(?!\w))(?:(?P<first>\d{2,4})/(?P<second>\d{2,4})|(?P<only>\d+(?:\.\d+)?))\s*"
    r"(?:(?P<kilo>[kK]?)[vV](?P<word>\s*(?:~|AC|DC|-|=|ac|dc)(?![\w]))?|(?P<wave>~))"
)
_ANGLE = re.compile(r"\b\d{2}/\d{2,3}/\d{2}\b")
_FREQUENCY = re.compile(r"\b\d{2}(?:/\d{2})?\s*Hz\b", re.IGNORECASE)
_UNIT = re.compile(
    r"(?<![\w.])(?P<value>\d*\.?\d+)\s*"
    r"(?P<unit>pF|nF|µF|uF|mfd|MFD|MF|mF|(?<=\.\d)F|(?<=\.\d\d)F)(?![a-z])(?P<rest>[A-Z]?(?!\w))"
)
_RKM = re.compile(
    r"(?<![\w.])(?P<whole>\d*)(?P<letter>[pnµum])(?P<part>\d*)(?P<tol>[A-Z]?)(?P<volts>\d{2,4})?(?![\w.])"
)
_COMPACT = re.compile(
    r"(?<![\w.])(?P<code>[0-3][A-Z])?(?P<ab>\d\d)(?P<c>[0-9])(?P<tol>[A-Z]?)(?:(?P<volts>\d{2,4})|(?P<behind>[0-3][A-Z]))?(?![\w.])"
)
_POINT = re.compile(r"(?<![\w.])(?P<value>\d*\.\d+)(?P<tol>[A-Z]?)(?P<volts>\d{2,4})?(?![\w.])")
_R_POINT = re.compile(r"(?<![\w.])(?P<whole>\d*)R(?P<part>\d+)(?P<tol>[A-Z]?)(?![\w.])")
_SHORT = re.compile(r"(?<![\w.])(?P<value>\d{1,2})(?P<tol>[A-Z]?)(?![\w.])")
_VOLTAGE_CODE = re.compile(r"(?<![\w.])([0-3][A-Z])(?![\w.])")
_VALUE = "·"
_LETTER = re.compile(rf"{_VALUE}\s*([BCDFGHJKMNPQSTZ])(?![\w.])")
_EXPONENTS = {"p": -12, "n": -9, "µ": -6, "u": -6, "m": -3}
_UNIT_EXPONENTS = {"pF": -12, "nF": -9, "µF": -6, "uF": -6, "mfd": -6, "MFD": -6, "MF": -6, "mF": -3, "F": 0}


@dataclass(slots=True)
class _Rest:
    """What of a marking is still to be understood."""

    text: str
    notes: list[str] = field(default_factory=list)

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        """The first match, taken out of the text."""
        match = pattern.search(self.text)
        if match:
            self.text = f"{self.text[: match.start()]} {self.text[match.end() :]}"
        return match

    def take_value(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        """The first match, its place kept by a mark: a tolerance letter may follow it."""
        match = self.take(pattern)
        if match:
            self.text = f"{self.text[: match.start()]}{_VALUE}{self.text[match.start() :]}"
        return match

    def take_all(self, pattern: re.Pattern[str]) -> tuple[re.Match[str], ...]:
        found = []
        while match := self.take(pattern):
            found.append(match)
        return tuple(found)


def voltage_of_code(code: str) -> float | None:
    """Volts of a two-character code such as "2A"; None when it is none.

    >>> voltage_of_code("1H"), voltage_of_code("2W")
    (50.0, 450.0)
    """
    if code in VOLTAGE_EXCEPTIONS:
        return VOLTAGE_EXCEPTIONS[code]
    if code[0] not in "0123" or code[1] not in VOLTAGE_LETTERS:
        return None
    return VOLTAGE_LETTERS[code[1]] * 10.0 ** int(code[0])


def decode_capacitor(marking: str) -> tuple[Part, ...]:
    """Every way to read a capacitor's marking, the likeliest first.

    Raises: WrongValue, when no capacitance is found in it.

    >>> part = decode_capacitor("2A474J")[0]
    >>> part.value, part.voltage, part.tolerance.text
    (4.7e-07, 100.0, '± 5 %')
    """
    rest = _Rest(tidy(marking, LONGEST_MARKING).replace("μ", "µ"))
    classes = tuple("".join(match.groups()).upper() for match in rest.take_all(_CLASS))
    run = tuple("".join(match.groups()) for match in rest.take_all(_RUN_SAFETY))
    run += tuple(match[1].upper() for match in rest.take_all(_RUN_HOURS))
    rest.take_all(_ANGLE)
    rest.take_all(_FREQUENCY)
    told = rest.take(tolerance.WRITTEN)
    volts, mode = _volts(rest)
    if classes or run:
        mode = mode or "ac"
    for read in (_with_unit, _rkm, _compact, _r_point, _point, _short):
        trial = _Rest(rest.text, list(rest.notes))
        parts = list(read(trial))
        if parts:
            break
    else:
        raise WrongValue(
            f"no capacitance is found in {marking!r}\n"
            '  write it as printed: "104K 275V~ X2", "4n7", "2A474J", "0.47 µF ± 10 % 400V"'
        )
    if volts is None and parts[0].voltage is None and (code := trial.take(_VOLTAGE_CODE)):
        volts = voltage_of_code(code[1])
        mode = mode or "dc"
        if volts is None:
            trial.notes.append(f"{code[1]} is no voltage code")
    if told is None and parts[0].tolerance is None and (letter := trial.take(_LETTER)):
        parts = [_with_letter(part, letter[1]) for part in parts]
    unread = tuple(
        word for word in re.split(r"[\s/]+", trial.text) if word not in ("", _VALUE, "~", "-", "AC", "DC", "SH")
    )
    return tuple(
        replace(
            part,
            tolerance=tolerance.of_match(told) if told else part.tolerance,
            voltage=volts if volts is not None else part.voltage,
            mode=mode or part.mode,
            classes=classes,
            run=run,
            notes=(*part.notes, *trial.notes),
            unread=unread,
        )
        for part in parts
    )


def _volts(rest: _Rest) -> tuple[float | None, str]:
    match = rest.take(_VOLTS)
    if not match:
        return None, ""
    volts = float(match["first"] or match["only"]) * (1000.0 if match["kilo"] else 1.0)
    if match["second"]:
        rest.notes.append(f"printed {match[0].strip()}: the lower voltage is taken, the higher goes with fewer hours")
        volts = min(volts, float(match["second"]))
    word = (match["word"] or "").strip().lower()
    is_ac = match["wave"] or word in ("~", "ac")
    return volts, "ac" if is_ac else "dc" if word in ("dc", "-", "=") else ""


def _part(
    digits: str, exponent: int, code: str, origin: tuple[str, str], letter: str = "", volts: str | None = None
) -> Part | None:
    """The part of decimal digits × 10^exponent farad; None when that is nothing."""
    counts, decimals = units.counts_of(digits)
    if counts <= 0:
        return None
    value = units.scaled(counts, decimals - exponent, 1.0)
    part = Part(
        value=value,
        unit="farad",
        code=code,
        source=origin[0],
        mark=origin[1],
        voltage=float(volts) if volts else None,
    )
    return _with_letter(part, letter) if letter else part


def _with_letter(part: Part, letter: str) -> Part:
    found, note = tolerance.of_letter(letter, farads=part.value)
    return replace(part, tolerance=found, notes=(*part.notes, note) if note else part.notes)


def _some(*parts: Part | None) -> Iterator[Part]:
    return (part for part in parts if part is not None)


def _with_unit(rest: _Rest) -> Iterator[Part]:
    match = rest.take_value(_UNIT)
    if not match:
        return iter(())
    unit = match["unit"]
    part = _part(match["value"], _UNIT_EXPONENTS[unit], "a value with its unit", ("as marked", "read"), match["rest"])
    if part is None or unit != "mF":
        return _some(part)
    old = _part(
        match["value"], -6, "mF as on old parts", ("common practice, no source", "common practice"), match["rest"]
    )
    assert old is not None
    return _some(
        replace(old, notes=(*old.notes, "on old parts mF stands for µF")),
        replace(part, notes=(*part.notes, "by today's units mF is a millifarad")),
    )


def _rkm(rest: _Rest) -> Iterator[Part]:
    match = rest.take_value(_RKM)
    if not match or not match["whole"] + match["part"]:
        return iter(())
    digits = f"{match['whole'] or '0'}.{match['part'] or '0'}"
    return _some(
        _part(
            digits,
            _EXPONENTS[match["letter"]],
            "letter at the decimal point (RKM)",
            _RKM_SOURCE,
            match["tol"],
            match["volts"],
        )
    )


def _compact(rest: _Rest) -> Iterator[Part]:
    match = rest.take_value(_COMPACT)
    if not match or match["c"] == "7":
        return iter(())
    power = {"8": -2, "9": -1}.get(match["c"], int(match["c"]))
    part = _part(match["ab"], power - 12, "three digits", _CODE_TABLES, match["tol"], match["volts"])
    code = match["code"] or match["behind"]
    if part is not None and code:
        part = replace(part, voltage=voltage_of_code(code), mode="dc")
        if part.voltage is None:
            rest.notes.append(f"{code} is no voltage code")
    return _some(part)


def _r_point(rest: _Rest) -> Iterator[Part]:
    match = rest.take_value(_R_POINT)
    if not match:
        return iter(())
    digits = f"{match['whole'] or '0'}.{match['part']}"
    habit = ("R as decimal point: common practice, no source", "common practice")
    small = _part(digits, -12, "R at the decimal point, pF", habit, match["tol"])
    large = _part(digits, -6, "R at the decimal point, µF", habit, match["tol"])
    return (replace(part, notes=(*part.notes, "pF on ceramic parts, µF on others")) for part in _some(small, large))


def _point(rest: _Rest) -> Iterator[Part]:
    match = rest.take_value(_POINT)
    if not match:
        return iter(())
    part = _part(match["value"], -6, "a decimal number, µF", _CODE_TABLES, match["tol"], match["volts"])
    return _some(part)


def _short(rest: _Rest) -> Iterator[Part]:
    match = rest.take_value(_SHORT)
    if not match:
        return iter(())
    return _some(_part(match["value"], -12, "one or two digits, pF", _CODE_TABLES, match["tol"]))
