"""What people write is read in one way, or refused in words, in a moment: no text costs more than its length."""

import time
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.schema import WRONG, quantity
from meterlog.base.source import Problems, compose
from meterlog.base.spelling import parts_of, split_doubt, split_range, tidy
from meterlog.base.uncertainty import nominal
from meterlog.base.unit_names import factors_of
from meterlog.heating.balance.vessel import read_vessel
from meterlog.heating.stated import read_stated
from meterlog.judging.accuracy import parse_accuracy
from meterlog.judging.written import given_value, measured_series, measured_value
from meterlog.parts.capacitor import decode_capacitor
from meterlog.parts.resistor import decode_resistor
from meterlog.procedure.limits import parse_limit

EVERYDAY = [  # as typed, SI unit of its kind, SI value by hand
    ("0,42 ohm", "ohm", 0.42),
    ("0,9 kW", "watt", 900.0),
    ("4,7 kOhm", "ohm", 4700.0),
    ("4.7 KΩ", "ohm", 4700.0),
    ("1 MOhm", "ohm", 1e6),
    ("1 mOhm", "ohm", 1e-3),
    ("0.75 mm2", "metre ** 2", 0.75e-6),
    ("0,75 mm²", "metre ** 2", 0.75e-6),
    ("0.75 mm^2", "metre ** 2", 0.75e-6),
    ("1 litre", "metre ** 3", 1e-3),
    ("1 L", "metre ** 3", 1e-3),
    ("1,5 l", "metre ** 3", 1.5e-3),
    ("−3,5 mV", "volt", -0.0035),
    ("1 kWh", "joule", 3.6e6),
    ("12 l/min", "metre ** 3 / second", 12e-3 / 60),
    ("250 J/K", "joule / kelvin", 250.0),
    ("4184 J/(kg K)", "joule / kilogram / kelvin", 4184.0),
    ("50 1/s", "hertz", 50.0),
    ("10 W per m2", "watt / metre ** 2", 10.0),
    ("0,5", "dimensionless", 0.5),
    ("12,5 %", "dimensionless", 0.125),
    ("12,50 ohm", "ohm", 12.5),
    ("0,420 ohm", "ohm", 0.42),
]


@pytest.mark.parametrize(("typed", "like", "value"), EVERYDAY)
def test_everyday_spellings_are_read(typed, like, value):
    assert units.parse(typed, like) == pytest.approx(value, rel=1e-12)


MARKS = [
    ("1,000 ohm", '\'1,000\' can be 1.000 or 1000: write "1.000" or "1000"'),
    ("12,345 W", '\'12,345\' can be 12.345 or 12345: write "12.345" or "12345"'),
    ("1,000,000 ohm", "'1,000,000' holds marks for thousands: write it without them, such as \"1000.5\""),
    ("1,234.5 ohm", "'1,234.5' holds marks for thousands: write it without them, such as \"1000.5\""),
    ("1.234,5 ohm", "'1.234,5' holds marks for thousands: write it without them, such as \"1000.5\""),
    ("1 kw", "unknown unit 'kw': did you mean kW?"),
    ("1 mhz", "unknown unit 'mhz': did you mean MHz or mHz?"),
    ("1 furlongish", "unknown unit 'furlongish'"),
]


@pytest.mark.parametrize(("typed", "said"), MARKS)
def test_what_can_be_read_in_two_ways_is_refused_in_words(typed, said):
    with pytest.raises(WrongValue) as caught:
        units.parse(typed, "ohm")
    assert str(caught.value) == said


BOMBS = [
    "900 W*9**9**9",
    "1 W/0",
    "1 " + "W*" * 20_000 + "W",
    "1 " + "(" * 3000 + "W" + ")" * 3000,
    "1 ((W))",
    "9" * 100_000 + " W",
    "1e999 W",
    "1e308 W",
    "1e99 W",
    "1e-99 W",
    "1 W**99999999",
    "1 W**9",
    "1 W W W W W W W W W W",
    "1 " + "W" * 5000,
    "1 W*",
    "1 /W/",
    "1 W//s",
    "1 W)",
    "1 W 5",
    "1 W\x00",
    "1 W\x7f",
    "1 \ud800",
    "٣ W",
    "1 nan",
    "1 inf",
    "1 lambda",
    "1 __import__('os')",
]


@pytest.mark.parametrize("bomb", BOMBS, ids=lambda bomb: ascii(bomb[:20]))
def test_no_text_stops_the_reading(bomb):
    began = time.perf_counter()
    readers = (lambda text: units.parse(text, "watt"), lambda text: read_stated(text, "watt"),
               lambda text: given_value(text, "power"), lambda text: measured_value(text, "power"),
               lambda text: parse_limit(text, "watt"), lambda text: parse_accuracy(text, "watt"),
               read_vessel)  # fmt: skip
    for read in readers:
        with pytest.raises(WrongValue):
            read(bomb)
    for decode in (decode_capacitor, decode_resistor):
        with suppress(WrongValue):  # a bomb may begin with a marking
            decode(bomb)
    assert time.perf_counter() - began < 5.0, "far more than any text may take; a bomb takes hours"


@pytest.mark.parametrize("unit", ["W*9**9**9", "W/0", "t_s/0", "(" * 3000 + "W", "W*" * 20_000, "9", "", "W**0"])
def test_a_units_name_alone_is_read_or_refused(unit):
    with pytest.raises(WrongValue):
        units.si_factor(unit)
    assert not units.same_kind(unit, "watt")


@pytest.mark.parametrize(
    ("unit", "factors"),
    [
        ("J/(kg K)", [("J", 1), ("kg", -1), ("K", -1)]),
        ("m/s**2", [("m", 1), ("s", -2)]),
        ("1/min", [("min", -1)]),
        ("kΩ·m", [("kohm", 1), ("m", 1)]),
        ("W/m²/K", [("W", 1), ("m", -2), ("K", -1)]),
        ("%/K", [("percent", 1), ("K", -1)]),
    ],
)
def test_a_unit_has_its_names_and_powers(unit, factors):
    assert factors_of(unit) == factors


@pytest.mark.parametrize(
    ("typed", "value", "width"),
    [
        ("1.01 ± 0.005", "1.01", "0.005"),
        ("1000 g +/- 2 g", "1000 g", "2 g"),
        ("1,01 ± 0,005 kg", "1.01 kg", "0.005 kg"),
        ("(1.01 ± 0.005) kg", "1.01 kg", "0.005 kg"),
        ("1.01 kg ± 0.005", "1.01 kg", "0.005 kg"),
        ("1 L ± 2 %", "1 L", "2 %"),
        ("5 kg", "5 kg", ""),
    ],
)
def test_a_value_and_its_doubt_are_parted(typed, value, width):
    assert split_doubt(typed) == (value, width)


@pytest.mark.parametrize(
    ("typed", "ends"),
    [
        ("220-240 V", ("220 V", "240 V")),
        ("220–240 V", ("220 V", "240 V")),
        ("220 V - 240 V", ("220 V", "240 V")),
        ("2 .. 2,4 kW", ("2 kW", "2.4 kW")),
        ("2000 W to 2.4 kW", ("2000 W", "2.4 kW")),
        ("230 V", None),
        ("-5 V", None),
        ("1e-3 V", None),
        ("5 W/m-2", None),
    ],
)
def test_a_range_is_parted(typed, ends):
    assert split_range(typed) == ends


def test_a_list_keeps_its_decimal_commas():
    assert parts_of("10 s: 5,6 ohm, 20 s: 5,5 ohm;30 s: 5,4 ohm,40 s: 5") == [
        "10 s: 5,6 ohm", "20 s: 5,5 ohm", "30 s: 5,4 ohm", "40 s: 5"
    ]  # fmt: skip
    series = measured_series("10 s: 5,6 ohm, 20 s: 5,5 ohm", "resistance")
    assert [nominal(result.number) for _, result in series.points] == [5.6, 5.5]


LIMITS = [("<= 1 ohm", None, 1.0), ("≤ 1 ohm", None, 1.0), ("max 1 ohm", None, 1.0), ("max. 1,5 ohm", None, 1.5),
          (">= 1 Mohm", 1e6, None), ("≥1 MOhm", 1e6, None), ("min 1 Mohm", 1e6, None), ("10-12 ohm", 10.0, 12.0),
          ("not more than 0,3 ohm", None, 0.3)]  # fmt: skip


@pytest.mark.parametrize(("typed", "low", "high"), LIMITS)
def test_a_limit_is_written_as_people_do(typed, low, high):
    bounds = parse_limit(typed, "ohm")
    assert (bounds.low, bounds.high) == (low, high)


@pytest.mark.parametrize("typed", ["300 g steel", "steel, 300 g", "steel 300 g", "300 g of steel", "300 g, steel",
                                   "0,3 kg steel", "steel: 300 g"])  # fmt: skip
def test_a_vessel_is_read_in_any_order(typed):
    [piece] = read_vessel(typed).pieces
    assert (piece.title, piece.mass.value) == ("steel", 0.3)


def test_a_vessel_of_two_pieces_is_no_vessel_of_one():
    assert [piece.title for piece in read_vessel("glass, 340 g, steel, 120 g").pieces] == ["glass", "steel"]
    assert [piece.mass.value for piece in read_vessel("340 g glass,120 g steel").pieces] == [0.34, 0.12]


def test_an_accuracy_has_ends():
    for said in ("1e400 %", "1e99 %", "101 %", "1e9 counts", "1e99 ohm"):
        with pytest.raises(WrongValue):
            parse_accuracy(said)
    assert parse_accuracy("0,5 % + 3 counts") == parse_accuracy("0.5 % + 3 counts")


TYPED = st.text(st.characters(), max_size=30) | st.lists(
    st.sampled_from([*"0123456789,.+-−–±/*^()%µΩ°² ", "ohm", "kW", " W", "m2", "1e9", "..", " to ", "steel", " g "]),
    max_size=12,
).map("".join)


@settings(max_examples=400, deadline=None)
@given(TYPED)
def test_tidy_settles_whatever_is_typed(typed):
    try:
        once = tidy(typed)
    except WrongValue:
        return
    assert tidy(once) == once
    for read in (lambda text: units.parse(text, "watt"), lambda text: read_stated(text, "watt"), read_vessel,
                 lambda text: parse_limit(text, "watt"), lambda text: measured_value(text, "power")):  # fmt: skip
        with suppress(WrongValue):  # anything else ends the test
            read(typed)


@pytest.mark.parametrize("typed", ["0 s", "-1 s", "1e308 s", "2 hour", "1 s*9**9**9", "1"])
def test_a_written_time_has_ends(typed):
    every = quantity("s", "0.5 s", "10 ms", "1 hour")
    problems = Problems("a profile")
    assert every.read(compose(f'"{typed}"', "a profile"), "ask.every", problems) is WRONG
    [problem] = problems.in_order()
    assert problem.saw == typed
    assert problem.hint


def test_a_written_time_is_told_its_ends():
    problems = Problems("a profile")
    quantity("s", "0.5 s", "10 ms", "1 hour").read(compose('"0 s"', "a profile"), "ask.every", problems)
    assert str(problems.in_order()[0]) == (
        'a profile:1:1: ask.every\n  expected  a number with its unit, such as "0.5 s"\n'
        "  saw       0 s\n  hint      write 10 ms to 1 hour"
    )
