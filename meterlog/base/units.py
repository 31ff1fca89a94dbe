"""Quantities at the borders: "0.42 ohm" to an SI float and back. The only import of pint.

Inside, everything is a plain float in SI. pint is slow to import (a quarter of a second) and to
call, so everyday units have their factors here, pint is loaded for the first other one, and each
factor is kept; nothing here runs for each reading.
"""

from __future__ import annotations

import math
import re
from functools import cache, lru_cache
from typing import TYPE_CHECKING, NamedTuple

from meterlog.base.errors import WrongValue
from meterlog.base.spelling import NUMBER, tidy
from meterlog.base.unit_names import factors_of, plain

if TYPE_CHECKING:
    import pint

_MEASURE = re.compile(rf"({NUMBER})(?:\s*(?=[^\s\d.])|\s+(?=1/))(\S.*)")
_UNIT_BEHIND = re.compile(rf"({NUMBER} )([A-Za-zµΩ°][^\s,;)]*)(?=$|[\s,;)])")
_TOO_LONG = re.compile(r"[-+]?[0-9.]*(?:[0-9]{21}|[eE][-+]?[0-9]{3})")
LARGEST, SMALLEST = 1e30, 1e-30
"""SI: what lies outside, and is not 0, was never measured on a bench."""


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
    "conductivity": Quantity("siemens / metre", "conductivity"),
    "angle": Quantity("radian", "angle"),
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


_DECIMAL = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}
_PLAIN = {"ohm": "ohm", "V": "volt", "A": "ampere", "W": "watt", "F": "farad", "H": "henry", "Hz": "hertz",
          "J": "joule", "volt": "volt", "ampere": "ampere", "watt": "watt", "farad": "farad", "hertz": "hertz",
          "second": "second", "kelvin": "kelvin", "dimensionless": "dimensionless"}  # fmt: skip
_ALONE = {"s": ("second", 1.0, 0.0), "ms": ("second", 1e-3, 0.0), "us": ("second", 1e-6, 0.0),
          "K": ("kelvin", 1.0, 0.0), "degC": ("kelvin", 1.0, 273.15), "degF": ("kelvin", 5 / 9, 459.67 * 5 / 9),
          "delta_degC": ("kelvin", 1.0, 0.0),
          "percent": ("dimensionless", 0.01, 0.0)}  # fmt: skip
"""Everyday units by symbol, so that a one-off need not wait for pint. A test holds them to pint's own."""


@lru_cache(maxsize=1024)
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

    try:
        return float(_registry().Quantity(number, _pints(unit)).to_base_units().magnitude)
    except (pint.errors.PintError, OverflowError) as error:
        raise WrongValue(f"unknown unit {unit!r}: {error}") from None


def _pints(unit: str) -> pint.Unit:
    """pint's unit of a written one. Raises: WrongValue when a name in it is unknown, with the near ones."""
    import pint

    registry = _registry()
    made: dict[str, int] = {}
    for name, power in factors_of(unit):
        if name == "dimensionless":
            continue
        try:
            known = registry.get_name(name)
        except (pint.errors.PintError, AttributeError, ValueError, TypeError):
            known = ""
        if not known:
            raise WrongValue(f"unknown unit {name!r}{_near(name)}")
        made[known] = made.get(known, 0) + power
    return registry.Unit(registry.UnitsContainer(made))


def _near(name: str) -> str:
    """The everyday units that differ from a name in capitals only, as a question."""
    every = {prefix + base for base in _PLAIN for prefix in (_DECIMAL if len(base) < 4 else ("",))} | {"Wh", "kWh"}
    alike = sorted(unit for unit in {*every, *_ALONE} if unit.lower() == name.lower())
    return f": did you mean {' or '.join(alike)}?" if alike else ""


@lru_cache(maxsize=4096)
def same_kind(unit: str, like: str) -> bool:
    """Whether two units measure the same kind of thing (ohm and kohm: yes, ohm and volt: no)."""
    one, other = _everyday(unit), _everyday(like)
    if one and other:
        return one[0] == other[0]
    try:
        return bool(_pints(unit).dimensionality == _pints(like).dimensionality)
    except WrongValue:
        return False


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
    words = tidy(text)
    if _TOO_LONG.match(words):
        raise WrongValue(f"no number on a bench is as long: {words[:60]!r}")
    match = _MEASURE.fullmatch(words)
    if not match:
        raise WrongValue(f'write a number and its unit, such as "0.42 ohm", not {text!r}')
    return match[1], match[2]


def parse(text: str, like: str) -> float:
    """The SI value of a text such as "0.42 ohm", of the kind of `like`; a pure number needs no unit.

    Raises: WrongValue when number or unit is missing, the unit is of another kind, or the value beyond all measure.

    >>> parse("420 mohm", "ohm"), parse("0,42 kOhm", "ohm")
    (0.42, 420.0)
    """
    digits, unit = split_number(text) if like == "dimensionless" else split_measure(text)
    scale, offset = si_factor(unit)
    if not same_kind(unit, like):
        raise WrongValue(f"expected a unit like {like}, saw {unit!r} in {text!r}")
    return bounded(scaled(*counts_of(digits), scale) + offset, text)


def split_number(text: str) -> tuple[str, str]:
    """As `split_measure`, but a bare number is a ratio. Raises: WrongValue."""
    words = tidy(text)
    return (words, "dimensionless") if re.fullmatch(NUMBER, words) else split_measure(words)


def bounded(value: float, text: str) -> float:
    """A value that a bench can know of. Raises: WrongValue for one outside, naming the text that it came from."""
    if value and not SMALLEST <= abs(value) <= LARGEST:
        raise WrongValue(f"{'larger' if abs(value) > 1 else 'smaller'} than anything on a bench: {text!r}")
    return value


def symbol(unit: str) -> str:
    """How a unit is written for a person: "kohm" to "kΩ", "degC" to "°C"."""
    name = plain(unit)
    if name in _SYMBOLS:
        return _SYMBOLS[name]
    if len(name) > 1 and name[0] in _PREFIXES:
        base = {"ohm": "Ω"}.get(name[1:], name[1:])
        return _PREFIXES[name[0]] + _raised(base)
    return _raised(name)


def _raised(name: str) -> str:
    """A power behind a unit's name, raised: "m2" to "m²"."""
    return re.sub(r"(?<=[A-Za-z])[23]$", lambda power: {"2": "²", "3": "³"}[power[0]], name)


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


def show_in(value: float, si: str, unit: str, digits: int = 4) -> str:
    """An SI value for a person in a unit that was written for its like: 0.08 ohm beside "0.3 ohm" is "0.08 Ω".

    With an engineering prefix where it is too large or too small for that unit, or the unit is of another kind.

    >>> show_in(0.08, "ohm", "ohm"), show_in(2.5e5, "ohm", "Mohm"), show_in(12e9, "ohm", "Mohm")
    ('0.08 Ω', '0.25 MΩ', '12 GΩ')
    """
    factor = _factor_in(value, si, unit)
    return show(value, si, digits) if factor is None else f"{_rounded(value / factor, digits)} {symbol(unit)}".rstrip()


def reads_well(value: float, si: str, unit: str) -> bool:
    """Whether an SI value reads well in a written unit: neither of the other kind, nor too large or small for it."""
    return _factor_in(value, si, unit) is not None


def _factor_in(value: float, si: str, unit: str) -> float | None:
    """SI of one of a written unit, where a value reads well in it; None where it does not."""
    if not unit or si == "kelvin" or not same_kind(unit, si):
        return None
    factor = si_factor(unit)[0]
    return factor if not value or 1e-2 <= abs(value) / factor < 1e4 else None


def with_symbols(text: str) -> str:
    """A written limit or value with its units as a person writes them: "at least 50 kohm" is "at least 50 kΩ"."""
    return _UNIT_BEHIND.sub(lambda found: found[1] + symbol(found[2]), text)


def show_with(value: float, width: float, si: str, unit: str = "") -> str:
    """An SI value and the half width of its interval for a person, in one unit, to the same decimal place.

    In `unit` where that was written for its like and it reads well in it.

    Two significant digits of the width. Source: GUM 7.2.6, whose example is 10.057 62 Ω with 27 mΩ.

    >>> show_with(10.05762, 0.027, "ohm"), show_with(878.599, 15.2, "watt")
    ('10.058 Ω ± 0.027 Ω', '879 W ± 15 W')
    """
    if width <= 0 or not math.isfinite(width):
        return show(value, si)
    if si == "kelvin":
        around = show_with(value - 273.15, width, "delta_degC").partition(" ± ")
        return f"{around[0].partition(' ')[0]} °C ± {around[2]}"
    largest = max(abs(value), width)
    written = _factor_in(largest, si, unit)
    factor, name = (written, symbol(unit)) if written is not None else _engineering(largest, si, 12)
    place = decimals_of_uncertainty(width / factor)
    rounded = (f"{round(each / factor, place) + 0.0:.{max(place, 0)}f} {name}".rstrip() for each in (value, width))
    return " ± ".join(rounded)


def _engineering(value: float, si: str, digits: int) -> tuple[float, str]:
    """The prefix, as a factor, and the unit with it, in which a value is shown."""
    unit = _SYMBOLS.get(si, si)
    if si in ("dimensionless", "kilogram", "second", "delta_degC", "metre ** 2") or value == 0:
        return 1.0, unit
    reaches = (each for each in _ENGINEERING if abs(value) >= each[0] * (1 - 10.0 ** (1 - digits) / 2))
    factor, prefix = next(reaches, _ENGINEERING[-1])
    return factor, prefix + unit


def decimals_of_uncertainty(uncertainty: float) -> int:
    """Decimals that an uncertainty of two digits has, negative left of the point: 1 for 2.34, -1 for 183.

    Source: JCGM 100:2008, 7.2.6: two digits of the uncertainty at most, the value to the same place.
    """
    return 1 - math.floor(math.log10(float(f"{abs(uncertainty):.1e}")))


def to_place(value: float, uncertainty: float, *, sign: bool = False) -> str:
    """The digits of a value to the place of the second digit of its uncertainty: 878.599 known to 15 is "879"."""
    plus = "+" if sign else ""
    if not uncertainty or not math.isfinite(uncertainty):
        return f"{value:{plus}.6g}"
    place = decimals_of_uncertainty(uncertainty)
    return f"{round(value, place) + 0.0:{plus}.{max(place, 0)}f}"


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{float(text):.0f}" if abs(value) >= 1 else f"{value:.{digits + 6}f}".rstrip("0")
    return text
