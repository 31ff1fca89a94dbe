"""Markings, preferred values and replacements, against printed codes and lists."""

import math

import pytest
from check_tables import rows
from hypothesis import given
from hypothesis import strategies as st

from meterlog.base.errors import WrongValue
from meterlog.parts import tolerance
from meterlog.parts.bands import COLOURS, decode_bands
from meterlog.parts.capacitor import decode_capacitor
from meterlog.parts.preferred import SERIES, between, neighbours, series_of
from meterlog.parts.replacing import fit, wanted
from meterlog.parts.resistor import decode_resistor

DECODE = {"capacitor": decode_capacitor, "resistor": decode_resistor, "bands": decode_bands}
DIGITS = [name for name, colour in COLOURS.items() if colour.digit is not None]


def stated(text, value):
    """The band that a table states: "10" percent, "-20+80" percent, "0.5p" picofarads."""
    if text.endswith("p"):
        return value - float(text[:-1]) * 1e-12, value + float(text[:-1]) * 1e-12
    below, _, above = text[1:].partition("+") if text.startswith("-") else (text, "", text)
    return value * (1 - float(below) / 100), value * (1 + float(above) / 100)


@pytest.mark.parametrize("row", rows("markings.csv"))
def test_markings(row):
    part = DECODE[row["kind"]](row["marking"])[0]
    value = float(row["value"])
    assert part.value == pytest.approx(value, rel=1e-12)
    assert part.voltage == (float(row["voltage"]) if row["voltage"] else None)
    if row["tolerance"]:
        assert part.band == pytest.approx(stated(row["tolerance"], value), rel=1e-9)


@pytest.mark.parametrize("row", rows("preferred.csv"))
def test_preferred_values(row):
    assert [f"{value / 100:.2f}" for value in SERIES[row["series"]]] == row["values"].split()


# The reference counts, over five-band codes that end in brown with multipliers black to violet, how
# many read legally from the other end and how many of those are an E96 or E24 value: computed in
# Python outside this project, from the colour pages.
BACKWARDS = [("E96", 768, 736, 270), ("E24", 192, 184, 161)]


@pytest.mark.parametrize(("series", "codes", "legal", "preferred"), BACKWARDS)
def test_bands_that_read_backwards(series, codes, legal, preferred):
    counted = both = hits = 0
    for value in SERIES[series]:
        for multiplier in DIGITS[:8]:
            counted += 1
            bands = [DIGITS[int(digit)] for digit in str(value)] + [multiplier, "brown"]
            order = " ".join(bands)
            own = next(part for part in decode_bands(order) if part.value == backwards_value(bands))
            others = [part for part in decode_bands(order) if part != own]
            if others or bands == bands[::-1]:
                both += 1
                other = backwards_value(bands[::-1])
                hits += bool({"E96", "E24"} & set(series_of(other)))
    assert (counted, both, hits) == (codes, legal, preferred)


def backwards_value(bands):
    digits = int("".join(str(DIGITS.index(colour)) for colour in bands[:3]))
    return float(digits * 10 ** DIGITS.index(bands[3]))


def test_grey_as_tolerance_is_undecided():
    part = decode_bands("orange orange orange grey")[0]
    assert part.tolerance is None
    assert part.notes[-1] == "grey as tolerance is printed as 0.01 %, 0.05 % or 0.1 %: undecided"


def test_a_sixth_band_is_the_coefficient():
    part = decode_bands("brown black black red gold brown")[0]
    assert (part.value, part.coefficient) == (10000.0, pytest.approx(100e-6))


def test_two_codes_for_one_marking_are_both_told():
    assert [part.value for part in decode_resistor("10R")] == [10.0, 1.24]
    assert [part.value for part in decode_capacitor("1 mF")] == [1e-6, 1e-3]


PIECES = [  # marking, value, voltage, mode, classes, run, unread
    ("0.47 µF ±10% 310V~ MKP X2", 4.7e-7, 310, "ac", ("X2",), (), ("MKP",)),
    ("X1Y2 4n7M 300 V~", 4.7e-9, 300, "ac", ("X1", "Y2"), (), ()),
    ("222M 250~ Y2", 2.2e-9, 250, "ac", ("Y2",), (), ()),
    ("25µF ±5% 400/450V~ 50/60Hz 25/85/21 P2 class B", 25e-6, 400, "ac", (), ("P2", "B"), ()),
    ("1.00 µF ±3% 2100V~", 1e-6, 2100, "ac", (), (), ()),
    ("4.7/400V", 4.7e-6, 400, "", (), (), ()),
    ("104J2A", 1e-7, 100, "dc", (), (), ()),
    ("2.2nF 1kV", 2.2e-9, 1000, "", (), (), ()),
    ("0,47µF K", 4.7e-7, None, "", (), (), ()),
    ("25uF 5% 450VAC 50/60Hz", 25e-6, 450, "ac", (), (), ()),
    ("C 0.91 µF 2100V~ R 10 MΩ", 0.91e-6, 2100, "ac", (), (), ("C", "R", "10", "MΩ")),
    ("16 MFD 370 VAC", 16e-6, 370, "ac", (), (), ()),
]


@pytest.mark.parametrize(("marking", "value", "voltage", "mode", "classes", "run", "unread"), PIECES)
def test_a_marking_in_pieces(marking, value, voltage, mode, classes, run, unread):
    part = decode_capacitor(marking)[0]
    assert part.value == pytest.approx(value, rel=1e-12)
    assert (part.voltage, part.mode, part.classes, part.run, part.unread) == (voltage, mode, classes, run, unread)


@pytest.mark.parametrize("marking", ["", "foo", "0", "477", "X2 275V~", "V"])
def test_what_is_no_capacitor(marking):
    with pytest.raises(WrongValue) as caught:
        decode_capacitor(marking)
    assert str(caught.value).splitlines()[0] == f"no capacitance is found in {marking!r}"


@pytest.mark.parametrize("marking", ["", "foo", "97A", "K", "R", "4.7.1k", "-47"])
def test_what_is_no_resistor(marking):
    with pytest.raises(WrongValue) as caught:
        decode_resistor(marking)
    assert str(caught.value).splitlines()[0] == f"{marking!r} is no resistor marking known here"


BANDS = [
    ("red", "a resistor has three to six bands (or one black), not 1"),
    ("red blau red", "'blau' is no band's colour"),
    ("gold gold gold", "gold gold gold can be read from neither end"),
    ("black brown red gold", "black brown red gold can be read from neither end"),
]


@pytest.mark.parametrize(("bands", "message"), BANDS)
def test_what_are_no_bands(bands, message):
    with pytest.raises(WrongValue) as caught:
        decode_bands(bands)
    assert str(caught.value).splitlines()[0] == message


@pytest.mark.parametrize("letter", "AX")
def test_a_letter_that_does_not_say(letter):
    assert tolerance.of_letter(letter)[0] is None
    assert tolerance.of_letter(letter)[1]


FITS = [  # old, new, why it does not fit
    ("474K 275V~ X2", "0.47 µF ± 10 % 310V~ X1", ()),
    ("474K 275V~ X2", "474K 275V~ Y2", ()),
    ("474K 275V~ X1", "474K 275V~ X2", ("X2 does not stand in for X1",)),
    ("222M 250V~ Y2", "222M 275V~ X1", ("X1 does not stand in for Y2",)),
    ("222M 250V~ Y2", "222M 250V~", ("no suppression class does not stand in for Y2",)),
    ("222K 250V~ Y2", "222M 250V~ Y1", ("tolerance ± 20 % is wider than ± 10 %",)),
    ("1 µF ± 3 % 2100V~", "1 µF ± 3 % 2000V~", ("2000 V is less than 2100 V",)),
    ("1 µF ± 3 % 250V~", "1 µF ± 3 % 630V DC", ("its voltage is not marked as AC",)),
    ("1 µF ± 3 % 250V~", "1 µF ± 3 %", ("its marking tells no voltage, and 250 V is needed",)),
    ("16µF ± 5 % 450V~ P2 class B", "16µF ± 5 % 450V~ P2 class A", ()),
    ("16µF ± 5 % 450V~ P2 class B", "16µF ± 5 % 450V~ P2 class C", ("hours class C is shorter than B",)),
    ("16µF ± 5 % 450V~ P2 class B", "16µF ± 5 % 450V~ P0 class B", ("protection P0 is less than P2",)),
    ("16µF ± 5 % 450V~ P1", "16µF ± 5 % 450V~ P2", ()),
    ("16µF ± 5 % 450V~ P2", "16µF ± 5 % 450V~ S3", ()),
    ("16µF ± 5 % 450V~ S3", "16µF ± 5 % 450V~ P2", ("protection P2 is less than S3",)),
    ("16µF ± 5 % 450V~ P2", "18µF ± 5 % 450V~ P2", ("18 µF lies outside 15.2 µF to 16.8 µF",)),
]


@pytest.mark.parametrize(("old", "new", "against"), FITS)
def test_what_may_stand_in(old, new, against):
    found = fit(decode_capacitor(old)[0], decode_capacitor(new)[0])
    assert (found.fits, found.against) == (not against, against)


POWERS = [  # marking, ohm, watt
    ("5W10RJ", 10.0, 5.0),
    ("10W 22R J", 22.0, 10.0),
    ("0R22 5W", 0.22, 5.0),
    ("1/4 W 4K7", 4700.0, 0.25),
    ("4.7 kΩ 5 % 2W", 4700.0, 2.0),
    ("4K7W", 4700.0, None),
]


@pytest.mark.parametrize(("marking", "ohms", "watts"), POWERS)
def test_a_resistor_tells_its_power(marking, ohms, watts):
    part = decode_resistor(marking)[0]
    assert (part.value, part.power) == (pytest.approx(ohms, rel=1e-12), watts)


def test_a_weaker_resistor_does_not_fit():
    old = decode_resistor("5W10RJ")[0]
    assert fit(old, decode_resistor("2W10RJ")[0]).against == ("2 W is less than 5 W",)
    assert fit(old, decode_resistor("10RJ")[0]).against == ("its marking tells no power, and 5 W is needed",)
    assert fit(old, decode_resistor("7W10RJ")[0]).fits


MARKINGS = st.text(st.sampled_from("0123456789.,/±+-% RKMGTEpnuµmFVWXYZABCDHJ~ΩohmHz\u0663²"), max_size=14)


@given(st.one_of(MARKINGS, st.text(max_size=10)))
def test_any_marking_is_read_or_refused(marking):
    for decode in DECODE.values():
        try:
            parts = decode(marking)
        except WrongValue:
            continue
        assert parts
        for part in parts:
            assert math.isfinite(part.value)
            assert part.value >= 0
            assert part.value == 0 or wanted(part).low <= part.value * (1 + 1e-9)


def test_values_in_the_band_of_a_resistor():
    assert wanted(decode_resistor("4K7K")[0]).preferred == (4300.0, 4700.0, 5100.0)


@given(st.floats(1e-13, 1e8), st.sampled_from(list(SERIES)))
def test_neighbours_lie_on_either_side(value, series):
    near = neighbours(value, series)
    assert near.below <= value * (1 + 1e-8)
    assert near.above >= value * (1 - 1e-8)
    assert near.nearest in (near.below, near.above)
    assert series in series_of(near.nearest)


@given(st.floats(1e-12, 1e7), st.floats(1.0, 9.0), st.sampled_from(list(SERIES)))
def test_between_finds_each_once(low, width, series):
    found = between(low, low * width, series)
    assert list(found) == sorted(set(found))
    assert abs(len(found) - len(SERIES[series]) * math.log10(width)) <= len(SERIES[series]) / 10 + 2


@given(st.sampled_from(SERIES["E96"]), st.sampled_from("RKM"), st.sampled_from("FGJK"))
def test_letters_say_what_was_written(value, letter, tol):
    text = f"{value // 100}{letter}{value % 100:02d}{tol}"
    part = decode_resistor(text)[0]
    assert part.value == pytest.approx(value / 100 * {"R": 1, "K": 1e3, "M": 1e6}[letter])
    assert part.tolerance == tolerance.of_letter(tol)[0]


MADE_IN = [  # marking, series, its values in µF; makers' lists from memory
    ("16µF ± 5 % 450V~ P2", "run capacitors", [16.0]),
    ("6.3µF ± 10 % 400V~", "run capacitors", [6.0, 6.3]),
    ("474K 275V~ X2", "E24", [0.43, 0.47, 0.51]),
    ("0.95µF ± 3 % 2100V~", "E24", []),
]


@pytest.mark.parametrize(("marking", "series", "values"), MADE_IN)
def test_a_run_capacitor_comes_in_its_own_values(marking, series, values):
    need = wanted(decode_capacitor(marking)[0])
    assert need.series == series
    assert [round(value * 1e6, 3) for value in need.preferred] == values
