"""Limits as they are written in words: "at most 0.3 ohm", "100 ohm ± 10 %", "0.5 .. 0.7 V", "open".

Also as parts of an entry of the rating plate: "at least 85 % of rated output". The ends are worked
out in decimal, so that "100 ohm ± 10 %" ends at 110 ohm exactly.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.spelling import NUMBER, split_range, tidy
from meterlog.base.unit_names import plain

EXAMPLES = '"at most 0.3 ohm", "at least 1 Mohm", "100 ohm ± 10 %", "0.5 .. 0.7 V", "open"'
_BY_METHOD = re.compile(r"as the method finds(?: by the (\w+) rule)?")
"""The limit that the step's method works out itself, such as the protective conductor's by its cord."""

_N = NUMBER
_SAME = {
    "at most ": r"≤|max(?:\.|\b)|maximum\b|not (?:more|above) than\b|up to\b",
    "at least ": r"≥|min(?:\.|\b)|minimum\b|not (?:less|below) than\b",
}
_NAME = r"[A-Za-z][\w -]*?"
_PERCENT = rf"({_N})\s*%"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """The two ends of a written limit, SI; parts of the entry `of` when it is set.

    None that are left to the method; `by` is the rule that the method is to take then, "" for the step's own.
    """

    low: float | None
    high: float | None
    unit: str
    of: str = ""
    is_open: bool = False
    by_method: bool = False
    by: str = ""


def parse_limit(text: str, like: str) -> Bounds:
    """The ends of a limit written in words, for a quantity whose SI unit is `like`.

    Raises: WrongValue when it is no limit, its unit is of another kind, or its ends stand the wrong way.

    >>> bounds = parse_limit("100 ohm ± 10 %", "ohm")
    >>> bounds.low, bounds.high
    (90.0, 110.0)
    >>> parse_limit("at least 85 % of rated output", "watt").of
    'rated output'
    """
    words = _trades_words(tidy(text))
    if words == "open":
        return Bounds(low=None, high=None, unit=like, is_open=True)
    if left := _BY_METHOD.fullmatch(words):
        return Bounds(low=None, high=None, unit=like, by_method=True, by=left[1] or "")
    bounds = _part_of_entry(words, like) or _absolute(words, like)
    if bounds.low is None and bounds.high is None:
        raise WrongValue(f"write a limit such as {EXAMPLES}, not {text!r}")
    if bounds.low is not None and bounds.high is not None and bounds.low > bounds.high:
        raise WrongValue(f"the lower end comes first, and {text!r} has it above the upper")
    return bounds


def _trades_words(words: str) -> str:
    """A limit in the words of this language: "<= 1 ohm" is "at most 1 ohm", "220-240 V" is "220 V .. 240 V"."""
    for ours, signs in _SAME.items():
        words = re.sub(rf"^(?:{signs})\s*(?=[-.\d])", ours, words)
    ends = split_range(words)
    return " .. ".join(ends) if ends else words


def _part_of_entry(words: str, like: str) -> Bounds | None:
    for form, ends in (
        (rf"at most {_PERCENT} of ({_NAME})", lambda m: (None, m[1], m[2])),
        (rf"at least {_PERCENT} of ({_NAME})", lambda m: (m[1], None, m[2])),
        (rf"({_N})(?:\s*%)? ?\.\. ?{_PERCENT} of ({_NAME})", lambda m: (m[1], m[2], m[3])),
    ):
        match = re.fullmatch(form, words)
        if match:
            low, high, of = ends(match)
            return Bounds(low=_part(low), high=_part(high), unit=like, of=of)
    match = re.fullmatch(rf"({_NAME}) ?(±|[-+])\s*{_PERCENT}(?:[ ,/]*([-+])\s*{_PERCENT})?", words)
    if not match:
        return None
    below, above = _deviation(match[2], match[3], match[4], match[5], words)
    return Bounds(low=float(1 - below), high=float(1 + above), unit=like, of=match[1])


def _part(percent: str | None) -> float | None:
    return None if percent is None else float(Decimal(percent) / 100)


def _deviation(sign: str, first: str, other: str | None, second: str | None, words: str) -> tuple[Decimal, Decimal]:
    """(below, above) as parts, of "± 10 %" or "+5 % -10 %" in either order."""
    if sign == "±" and other is None:
        return Decimal(first) / 100, Decimal(first) / 100
    if second is None or {sign, other} != {"+", "-"}:
        raise WrongValue(f'write "± 10 %" or "+5 % -10 %" behind the value, not {words!r}')
    ends = {sign: Decimal(first) / 100, str(other): Decimal(second) / 100}
    return ends["-"], ends["+"]


def _absolute(words: str, like: str) -> Bounds:
    low, high = words, words
    if words.startswith("at most "):
        low, high = "", words.removeprefix("at most ")
    elif words.startswith("at least "):
        low, high = words.removeprefix("at least "), ""
    elif ".." in words:
        low, _, high = (part.strip() for part in words.partition(".."))
        if low and re.fullmatch(_N, low) and high:
            low = f"{low} {_split(high, like)[1]}"
    elif match := re.fullmatch(rf"(.+?) ?(±|[-+]) ?{_PERCENT}(?:[ ,/]*([-+]) ?{_PERCENT})?", words):
        if like == "kelvin":
            raise WrongValue('a percentage of a temperature means nothing: write "20 degC ± 5 degC"')
        digits, unit = _split(match[1], like)
        below, above = _deviation(match[2], match[3], match[4], match[5], words)
        low, high = (f"{Decimal(digits) * part} {unit}" for part in (1 - below, 1 + above))
    elif "±" in words:
        low, high = _either_side(words, like)
    else:
        raise WrongValue(f"write a limit such as {EXAMPLES}, not {words!r}")
    unit = _split(high or low, like)[1] if high or low else like
    return Bounds(low=_si(low, like), high=_si(high, like), unit=unit)


def _either_side(words: str, like: str) -> tuple[str, str]:
    centre, _, width = (part.strip() for part in words.partition("±"))
    digits, unit = _split(width, like)
    middle = centre if re.search(r"[^\d\s.eE+-]", centre) or like == "dimensionless" else f"{centre} {unit}"
    number, its_unit = _split(middle, like)
    if plain(its_unit) != plain(unit):
        raise WrongValue(f"write both parts in the same unit, not {words!r}")
    return f"{Decimal(number) - Decimal(digits)} {unit}", f"{Decimal(number) + Decimal(digits)} {unit}"


def _split(measure: str, like: str) -> tuple[str, str]:
    return units.split_number(measure) if like == "dimensionless" else units.split_measure(measure)


def _si(measure: str, like: str) -> float | None:
    if not measure:
        return None
    digits, unit = _split(measure, like)
    return units.parse(f"{digits} {unit}", like)
