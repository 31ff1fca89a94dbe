"""Quantities at the borders: "0.42 ohm" to an SI float and back. The only import of pint.

Inside, everything is a plain float in SI. pint is slow to import (a quarter of a second) and to
call, so everyday units have their factors here, pint is loaded for the first other one, and each
factor is kept; nothing here runs for each reading.
"""

from __future__ import annotations

import math
import re
from functools import cache, lru_cache
from tokenize import TokenError
from typing import TYPE_CHECKING, NamedTuple

from meterlog.base.errors import WrongValue

if TYPE_CHECKING:
    import pint

NUMBER = r"[-+−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d{1,3})?"
_MEASURE = re.compile(rf"\s*({NUMBER})(?:\s*(?=[^\s\d.])|\s+(?=1/))(\S.*?)\s*")


class Quantity(NamedTuple):
    """A kind of thing that is measured: its SI unit and its words."""

    si: str
    title: str


QUANTITIES: dict[str, Quantity] = {
    "resistance": Quantity("ohm", "resistance"),
    "continuity": Quantity("ohm", "continuity"),
    "insulation_resistance": Quantity("ohm", "insulation resistance"),
    "voltage": Quantity("volt", "voltage"),
    "junction_voltage": Quantity("volt", "junction voltage"),
    "current": Quantity("ampere", "current"),
    "leakage_current": Quantity("ampere", "leakage current"),
    "power": Quantity("watt", "power"),
    "apparent_power": Quantity("volt * ampere", "apparent power"),
    "reactive_power": Quantity("volt * ampere", "reactive power"),
    "power_factor": Quantity("dimensionless", "power factor"),
    "energy": Quantity("joule", "energy"),
    "capacitance": Quantity("farad", "capacitance"),
    "inductance": Quantity("henry", "inductance"),
    "dissipation_factor": Quantity("dimensionless", "dissipation factor"),
    "frequency": Quantity("hertz", "frequency"),
    "duty": Quantity("dimensionless", "duty cycle"),
    "time": Quantity("second", "time"),
    "temperature": Quantity("kelvin", "temperature"),
    "temperature_difference": Quantity("delta_degC", "temperature difference"),
    "relative_humidity": Quantity("dimensionless", "relative humidity"),
    "mass": Quantity("kilogram", "mass"),
    "length": Quantity("metre", "length"),
    "cross_section": Quantity("metre ** 2", "cross-section"),
    "pressure": Quantity("pascal", "pressure"),
    "speed_of_rotation": Quantity("hertz", "speed of rotation"),
    "conductance": Quantity("siemens", "conductance"),
    "illuminance": Quantity("lux", "illuminance"),
    "speed": Quantity("metre / second", "speed"),
    "volume_flow": Quantity("metre ** 3 / second", "volume flow"),
    "force": Quantity("newton", "force"),
    "power_density": Quantity("watt / metre ** 2", "power density"),
    "ratio": Quantity("dimensionless", "ratio"),
}
"""What can be measured. A profile, a procedure and the pages use these names only."""

_SYMBOLS = {"ohm": "Ω", "volt": "V", "ampere": "A", "watt": "W", "farad": "F", "hertz": "Hz", "kelvin": "K",
            "kilogram": "kg", "metre": "m", "metre ** 2": "m²", "second": "s", "henry": "H", "joule": "J",
            "pascal": "Pa", "dimensionless": "", "degC": "°C", "delta_degC": "K", "degF": "°F", "percent": "%",
            "volt * ampere": "VA", "celsius": "°C", "dB": "dB", "rpm": "rpm",
            "VA": "VA", "var": "var", "Wh": "Wh", "kWh": "kWh"}  # fmt: skip
_PREFIXES = {"f": "f", "p": "p", "n": "n", "u": "µ", "m": "m", "k": "k", "M": "M", "G": "G", "T": "T"}


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None, autoconvert_offset_to_baseunit=True)
    return registry


def plain(unit: str) -> str:
    """The ASCII spelling of a unit: "kΩ" to "kohm", "µF" to "uF", "°C" to "degC"."""
    out = unit.strip().replace("Ω", "ohm").replace("\u2126", "ohm").replace("µ", "u").replace("μ", "u")
    out = out.replace("°C", "degC").replace("°F", "degF").replace("℃", "degC").replace("℉", "degF")
    return "percent" if out == "%" else re.sub(r"\bOhm(s)?\b", "ohm", out)


_DECIMAL = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}
_PLAIN = {"ohm": "ohm", "V": "volt", "A": "ampere", "W": "watt", "F": "farad", "H": "henry", "Hz": "hertz",
          "J": "joule", "volt": "volt", "ampere": "ampere", "watt": "watt", "farad": "farad", "hertz": "hertz",
          "second": "second", "kelvin": "kelvin", "dimensionless": "dimensionless"}  # fmt: skip
_ALONE = {"s": ("second", 1.0, 0.0), "ms": ("second", 1e-3, 0.0), "us": ("second", 1e-6, 0.0),
          "K": ("kelvin", 1.0, 0.0), "degC": ("kelvin", 1.0, 273.15), "degF": ("kelvin", 5 / 9, 459.67 * 5 / 9),
          "delta_degC": ("kelvin", 1.0, 0.0),
          "percent": ("dimensionless", 0.01, 0.0)}  # fmt: skip
"""Everyday units by symbol, so that a one-off need not wait for pint. A test holds them to pint's own."""


@cache
def _everyday(unit: str) -> tuple[str, float, float] | None:
    """(SI unit, scale, offset) of an everyday unit, None for one that only pint knows."""
    name = plain(unit)
    if name in _ALONE:
        return _ALONE[name]
    for prefix, scale in _DECIMAL.items():
        base = name.removeprefix(prefix)
        if name.startswith(prefix) and base in _PLAIN and (not prefix or len(base) < 4):
            return _PLAIN[base], scale, 0.0
    return None


@lru_cache(maxsize=1024)
def si_factor(unit: str) -> tuple[float, float]:
    """(scale, offset) with value_si = number * scale + offset, for a unit's written name.

    Raises: WrongValue when pint does not know the unit.

    >>> si_factor("kohm"), si_factor("degC")
    ((1000.0, 0.0), (1.0, 273.15))
    """
    known = _everyday(unit)
    if known:
        return known[1], known[2]
    zero, one = _to_si(0.0, unit), _to_si(1.0, unit)
    return round(one - zero, 15) if zero else one, zero


def _to_si(number: float, unit: str) -> float:
    import pint

    registry = _registry()
    try:
        measured = registry.Quantity(number, registry.parse_units(plain(unit)))
        return float(measured.to_base_units().magnitude)
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, AssertionError, TokenError) as error:
        why = next(iter(str(error).splitlines()), "it cannot be read")
        raise WrongValue(f"unknown unit {unit!r}: {why}") from None


@lru_cache(maxsize=4096)
def same_kind(unit: str, like: str) -> bool:
    """Whether two units measure the same kind of thing (ohm and kohm: yes, ohm and volt: no)."""
    one, other = _everyday(unit), _everyday(like)
    if one and other:
        return one[0] == other[0]
    import pint

    registry = _registry()
    try:
        a, b = registry.parse_units(plain(unit)), registry.parse_units(plain(like))
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, AssertionError, TokenError):
        return False
    return bool(a.dimensionality == b.dimensionality)


def scaled(counts: int, decimals: int, scale: float) -> float:
    """counts * scale / 10**decimals, correctly rounded for every decimal prefix.

    >>> scaled(4201, 1, 0.001)
    0.4201
    """
    above, below = (counts, 10**decimals) if decimals >= 0 else (counts * 10**-decimals, 1)
    inverse = round(1.0 / scale) if scale < 1.0 else 0
    if inverse and inverse * scale == 1.0:
        return above / (below * inverse)
    return above * int(scale) / below if scale == int(scale) else above / below * scale


def counts_of(digits: str) -> tuple[int, int]:
    """(counts, decimals) of a decimal text: what its last digit counts, and where the point stands.

    >>> counts_of("0.420"), counts_of("1.5E+3")
    ((420, 3), (15, -2))
    """
    mantissa, _, exponent = digits.lower().partition("e")
    whole, _, part = mantissa.partition(".")
    return int(whole + part), len(part) - int(exponent or 0)


def split_measure(text: str) -> tuple[str, str]:
    """("0.42", "ohm") from "0.42 ohm": the number as it was written and its unit.

    Raises: WrongValue when there is no number or no unit.
    """
    match = _MEASURE.fullmatch(text)
    if not match:
        raise WrongValue(f'write a number and its unit, such as "0.42 ohm", not {text!r}')
    return match[1].replace("−", "-"), match[2]


def parse(text: str, like: str) -> float:
    """The SI value of a text such as "0.42 ohm", of the kind of `like`.

    Raises: WrongValue when number or unit is missing, or the unit is of another kind.

    >>> parse("420 mohm", "ohm")
    0.42
    """
    digits, unit = split_measure(text)
    if not same_kind(unit, like):
        raise WrongValue(f"expected a unit like {like}, saw {unit!r} in {text!r}")
    scale, offset = si_factor(unit)
    try:
        value = scaled(*counts_of(digits), scale) + offset
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise WrongValue(f"larger than a number can be: {text!r}")
    return value


def symbol(unit: str) -> str:
    """How a unit is written for a person: "kohm" to "kΩ", "degC" to "°C"."""
    name = plain(unit)
    if name in _SYMBOLS:
        return _SYMBOLS[name]
    if len(name) > 1 and name[0] in _PREFIXES:
        base = {"ohm": "Ω"}.get(name[1:], name[1:])
        return _PREFIXES[name[0]] + base
    return name


_ENGINEERING = [
    (1e12, "T"),
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "µ"),
    (1e-9, "n"),
    (1e-12, "p"),
]


def show(value: float, si: str, digits: int = 4) -> str:
    """An SI value for a person, with an engineering prefix: show(0.00042, "farad") is "420 µF".

    Temperatures are shown in °C; dimensionless values bare.
    """
    if si == "kelvin":
        return f"{_rounded(value - 273.15, digits)} °C"
    factor, unit = _engineering(value, si, digits)
    return f"{_rounded(value / factor, digits)} {unit}".rstrip()


def show_with(value: float, width: float, si: str) -> str:
    """An SI value and the half width of its interval for a person, in one unit, to the same decimal place.

    Two significant digits of the width. Source: GUM 7.2.6, whose example is 10.057 62 Ω with 27 mΩ.

    >>> show_with(10.05762, 0.027, "ohm"), show_with(878.599, 15.2, "watt")
    ('10.058 Ω ± 0.027 Ω', '879 W ± 15 W')
    """
    if width <= 0 or not math.isfinite(width):
        return show(value, si)
    if si == "kelvin":
        around = show_with(value - 273.15, width, "delta_degC").partition(" ± ")
        return f"{around[0].partition(' ')[0]} °C ± {around[2]}"
    factor, unit = _engineering(max(abs(value), width), si, 12)
    place = place_of(width / factor)
    rounded = (f"{round(each / factor, place) + 0.0:.{max(place, 0)}f} {unit}".rstrip() for each in (value, width))
    return " ± ".join(rounded)


def _engineering(value: float, si: str, digits: int) -> tuple[float, str]:
    """The prefix, as a factor, and the unit with it, in which a value is shown."""
    unit = _SYMBOLS.get(si, si)
    if si in ("dimensionless", "kilogram", "second", "delta_degC", "metre ** 2") or value == 0:
        return 1.0, unit
    reaches = (each for each in _ENGINEERING if abs(value) >= each[0] * (1 - 10.0 ** (1 - digits) / 2))
    factor, prefix = next(reaches, _ENGINEERING[-1])
    return factor, prefix + unit


def place_of(uncertainty: float) -> int:
    """Decimals that an uncertainty of two digits has, negative left of the point: 1 for 2.34, -1 for 183.

    Source: JCGM 100:2008, 7.2.6: two digits of the uncertainty at most, the value to the same place.
    """
    return 1 - math.floor(math.log10(float(f"{abs(uncertainty):.1e}")))


def to_place(value: float, uncertainty: float, *, sign: bool = False) -> str:
    """The digits of a value to the place of the second digit of its uncertainty: 878.599 known to 15 is "879"."""
    plus = "+" if sign else ""
    if not uncertainty or not math.isfinite(uncertainty):
        return f"{value:{plus}.6g}"
    place = place_of(uncertainty)
    return f"{round(value, place) + 0.0:{plus}.{max(place, 0)}f}"


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{float(text):.0f}" if abs(value) >= 1 else f"{value:.{digits + 6}f}".rstrip("0")
    return text
