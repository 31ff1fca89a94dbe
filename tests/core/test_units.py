"""Units at the borders, against pint's own conversions and hand sums."""

import pytest

from meterlog import units
from meterlog.errors import WrongValue

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


@pytest.mark.parametrize("text", ["0.42", "ohm", "", "0.42 volt", "0.42 ohmm", "1,5 ohm", "nan ohm"])
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
    ],
)
def test_a_value_is_shown_with_a_prefix(value, si, shown):
    assert units.show(value, si) == shown


@pytest.mark.parametrize(("unit", "symbol"), [("kohm", "kΩ"), ("uF", "µF"), ("degC", "°C"), ("V", "V"), ("%", "%")])
def test_a_unit_has_a_symbol(unit, symbol):
    assert units.symbol(unit) == symbol
