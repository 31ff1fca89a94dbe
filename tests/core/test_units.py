"""Units at the borders, against pint's own conversions and hand sums."""

from functools import cache

import pint
import pytest

from meterlog.base import units
from meterlog.base.errors import WrongValue

PARSED = [  # text, unit like, SI value, source
    ("0.42 ohm", "ohm", 0.42, "by hand"),
    ("420 mΩ", "ohm", 0.42, "by hand: 420 / 1000"),
    ("2.2 GΩ", "ohm", 2.2e9, "SI brochure 9, table 7: giga"),
    ("4.7 µF", "farad", 4.7e-6, "SI brochure 9, table 7: micro"),
    ("21 °C", "kelvin", 294.15, "SI brochure 9, 2.3.1: t/°C = T/K - 273.15"),
    ("100 degF", "kelvin", 310.92777777777775, "by hand: (100 - 32) / 1.8 + 273.15"),
    ("1 kWh", "joule", 3.6e6, "SI brochure 9, table 8: 1 h = 3600 s"),
    ("5 %", "dimensionless", 0.05, "by hand"),
    ("-3.5 mV", "volt", -0.0035, "by hand"),
    ("3000 rpm", "hertz", 314.1592653589793, "pint counts a turn as 2 pi radians"),
]


@pytest.mark.parametrize(("text", "like", "expected", "source"), PARSED)
def test_a_text_becomes_si(text, like, expected, source):
    assert units.parse(text, like) == pytest.approx(expected, rel=1e-12), source


@pytest.mark.parametrize("text", ["0.42", "ohm", "", "0.42 volt", "0.42 ohmm", "1,500 ohm", "nan ohm"])
def test_a_text_without_its_unit_is_refused(text):
    with pytest.raises(WrongValue):
        units.parse(text, "ohm")


@pytest.mark.parametrize(
    ("value", "si", "shown"),
    [
        (0.42, "ohm", "420 mΩ"),
        (4.7e-7, "farad", "470 nF"),
        (294.15, "kelvin", "21 °C"),
        (1.5e6, "ohm", "1.5 MΩ"),
        (0.9999999, "ohm", "1 Ω"),
        (1234567.0, "watt", "1.235 MW"),
        (0.0, "volt", "0 V"),
        (1.5e-6, "metre ** 2", "0.0000015 m²"),
    ],
)
def test_a_value_is_shown_with_a_prefix(value, si, shown):
    assert units.show(value, si) == shown


@pytest.mark.parametrize(
    ("value", "width", "si", "shown"),
    [
        (10.05762, 0.027, "ohm", "10.058 Ω ± 0.027 Ω"),  # GUM 7.2.6: "should be rounded to 10,058 Ω"
        (0.10002147, 0.00000079, "kilogram", "0.10002147 kg ± 0.00000079 kg"),  # GUM 7.2.4
        (12340.0, 2950.0, "ohm", "12.3 kΩ ± 3.0 kΩ"),  # by hand from here on
        (999.96, 0.096, "watt", "999.960 W ± 0.096 W"),
        (878.6, 152.0, "watt", "880 W ± 150 W"),
        (1e6, 99600.0, "ohm", "1.00 MΩ ± 0.10 MΩ"),
        (-2e-4, 3.6e-3, "volt", "-0.2 mV ± 3.6 mV"),
        (-1e-5, 3.6e-3, "volt", "0.0 mV ± 3.6 mV"),
        (294.55, 1.23, "kelvin", "21.4 °C ± 1.2 K"),
        (0.98, 0.0996, "dimensionless", "0.98 ± 0.10"),
        (12.0, 0.0, "ohm", "12 Ω"),
    ],
)
def test_a_value_carries_no_more_digits_than_its_interval(value, width, si, shown):
    assert units.show_with(value, width, si) == shown


def test_digits_stand_to_the_place_of_the_uncertainty():
    assert units.to_place(878.599, 15.0) == "879"
    assert units.to_place(878.0, 0.25) == "878.00"
    assert units.to_place(-0.2, 15.0, sign=True) == "+0"


@pytest.mark.parametrize(("unit", "symbol"), [("kohm", "kΩ"), ("uF", "µF"), ("degC", "°C"), ("V", "V"), ("%", "%")])
def test_a_unit_has_a_symbol(unit, symbol):
    assert units.symbol(unit) == symbol


@cache
def pints_own():
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


EVERYDAY = [
    (prefix + base, like)
    for base, like in [("ohm", "ohm"), ("V", "volt"), ("A", "ampere"), ("W", "watt"), ("F", "farad"), ("H", "henry"),
                       ("Hz", "hertz"), ("J", "joule")]
    for prefix in ["f", "p", "n", "u", "m", "", "k", "M", "G", "T"]
] + [("s", "second"), ("ms", "second"), ("us", "second"), ("K", "kelvin"), ("degC", "kelvin"), ("degF", "kelvin"),
     ("percent", "dimensionless"),
     ("delta_degC", "kelvin"), ("volt", "volt"), ("ampere", "ampere"), ("watt", "watt"), ("farad", "farad"),
     ("hertz", "hertz"), ("second", "second"), ("kelvin", "kelvin"), ("dimensionless", "dimensionless")]  # fmt: skip


@pytest.mark.parametrize(("unit", "like"), EVERYDAY)
def test_everyday_units_are_what_pint_says(unit, like):
    registry = pints_own()
    scale, offset = units.si_factor(unit)
    assert units._everyday(unit) is not None
    assert registry.Quantity(1.0, unit).to_base_units().magnitude == pytest.approx(scale + offset, rel=1e-12)
    assert registry.Quantity(0.0, unit).to_base_units().magnitude == pytest.approx(offset, abs=1e-12)
    assert registry.Unit(unit).dimensionality == registry.Unit(like).dimensionality
    assert units.same_kind(unit, like)
    assert not units.same_kind(unit, "henry" if like != "henry" else "ohm")
