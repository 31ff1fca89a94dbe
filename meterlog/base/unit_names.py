"""A written unit, read by a bounded grammar before anything works with it: names, small powers, one bracket.

    unit  = factors ["/" factors]        kWh  W/m2  J/(kg K)  l/min  1/min
    factor = name [power]                m²  m2  m^2  m**2  s-1 is no unit: write 1/s

No numbers but powers from -4 to 4, at most eight names, one level of brackets: nothing to work out.
"""

from __future__ import annotations

import re

from meterlog.base.errors import WrongValue

LONGEST = 60
MOST_NAMES = 8

_SIGNS = (("Ω", "ohm"), ("\u2126", "ohm"), ("µ", "u"), ("μ", "u"), ("°C", "degC"), ("°F", "degF"), ("℃", "degC"),
          ("℉", "degF"), ("²", "2"), ("³", "3"))  # fmt: skip
_OHM = re.compile(r"(?<![A-Za-z])([fpnumkKMGT]?)(?:[Oo]hms?|OHMS?)(?![A-Za-z_])")
_TOKEN = re.compile(
    r"\s*(?:(?P<name>[^\W\d]+(?:\d+[^\W\d]+)*|%)(?:\s?(?:\*\*|\^)\s?(?P<power>-?[1-4])(?!\d)|(?P<digit>[2-4])(?!\d))?"
    r"|(?P<sign>[*·/()]))"
)


def plain(unit: str) -> str:
    """The ASCII spelling of a unit: "kΩ", "kOhm" to "kohm", "µF" to "uF", "°C" to "degC", "mm²" to "mm2"."""
    out = unit.strip()
    for sign, name in _SIGNS:
        out = out.replace(sign, name)
    out = _OHM.sub(lambda found: found[1].replace("K", "k") + "ohm", out)
    return {"%": "percent", "1": "dimensionless"}.get(out, out)


def factors_of(unit: str) -> list[tuple[str, int]]:
    """The names of a unit, each with its power. A stroke divides by the next name or bracket. Raises: WrongValue.

    >>> factors_of("W/m²"), factors_of("J/(kg K)")
    ([('W', 1), ('m', -2)], [('J', 1), ('kg', -1), ('K', -1)])
    """
    text = plain(unit)
    if len(text) > LONGEST:
        raise WrongValue(f"no unit has {len(text)} characters: {text[:20]!r} …")
    rest = re.sub(r"^1\s*(?=/)", "", re.sub(r"\bper\b", "/", text))
    found: list[tuple[str, int]] = []
    sign, inside, whole, at = "" if rest.startswith("/") else "*", False, 1, 0
    while at < len(rest):
        token = _TOKEN.match(rest, at)
        if token is None:
            raise _unread(unit)
        at, name = token.end(), token["name"]
        if name:
            power = int(token["power"] or token["digit"] or 1) * (-1 if sign == "/" else 1) * whole
            found.append(("percent" if name == "%" else name, power))
            sign = ""
        elif token["sign"] == "(" and not inside and sign:
            inside, whole, sign = True, -1 if sign == "/" else 1, "*"
        elif token["sign"] == ")" and inside and not sign:
            inside, whole = False, 1
        elif token["sign"] in "*·/" and not sign:
            sign = token["sign"]
        else:
            raise _unread(unit)
    if inside or sign or not 0 < len(found) <= MOST_NAMES:
        raise _unread(unit)
    return found


def _unread(unit: str) -> WrongValue:
    return WrongValue(f'a unit is written such as "kohm", "mm²" or "J/(kg K)", not {unit!r}')
