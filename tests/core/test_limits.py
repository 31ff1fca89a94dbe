"""Limits in words become ends in SI; the ends were worked out by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base.errors import WrongValue
from meterlog.procedure.limits import Bounds, parse_limit

WORDS = [  # text, SI unit of its quantity, low, high, unit, entry
    ("at most 0.3 ohm", "ohm", None, 0.3, "ohm", ""),
    ("at least 1 Mohm", "ohm", 1e6, None, "Mohm", ""),
    ("at least 1 MΩ", "ohm", 1e6, None, "MΩ", ""),
    ("100 ohm ± 10 %", "ohm", 90.0, 110.0, "ohm", ""),
    ("100 ohm +/- 10 %", "ohm", 90.0, 110.0, "ohm", ""),
    ("24 ohm +5 % -10 %", "ohm", 21.6, 25.2, "ohm", ""),
    ("24 ohm -10% +5%", "ohm", 21.6, 25.2, "ohm", ""),
    ("0.5 .. 0.7 V", "volt", 0.5, 0.7, "V", ""),
    ("500 mV .. 0.7 V", "volt", 0.5, 0.7, "V", ""),
    ("..1.0 ohm", "ohm", None, 1.0, "ohm", ""),
    ("1 Mohm..", "ohm", 1e6, None, "Mohm", ""),
    ("-10 .. 5 degC", "kelvin", 263.15, 278.15, "degC", ""),
    ("100 ± 5 ohm", "ohm", 95.0, 105.0, "ohm", ""),
    ("20 degC ± 2 degC", "kelvin", 291.15, 295.15, "degC", ""),
    ("at most 5 %", "dimensionless", None, 0.05, "%", ""),
    ("1.5 .. 4", "dimensionless", 1.5, 4.0, "dimensionless", ""),
    ("rated output ± 15 %", "watt", 0.85, 1.15, "watt", "rated output"),
    ("rated power +5 % -10 %", "watt", 0.9, 1.05, "watt", "rated power"),
    ("at least 85 % of rated output", "watt", 0.85, None, "watt", "rated output"),
    ("85 .. 115 % of rated output", "watt", 0.85, 1.15, "watt", "rated output"),
]


@pytest.mark.parametrize(("text", "like", "low", "high", "unit", "of"), WORDS)
def test_words_become_ends(text, like, low, high, unit, of):
    assert parse_limit(text, like) == Bounds(low=low, high=high, unit=unit, of=of)


def test_a_limit_is_left_to_the_method():
    assert parse_limit("as the method finds", "ohm") == Bounds(low=None, high=None, unit="ohm", by_method=True)


def test_open_is_no_number():
    assert parse_limit("open", "ohm") == Bounds(low=None, high=None, unit="ohm", is_open=True)


SHAPES = '"at most 0.3 ohm", "at least 1 Mohm", "100 ohm ± 10 %", "0.5 .. 0.7 V", "open"'
WRONG = [
    ("100 ohm", "ohm", f"write a limit such as {SHAPES}, not '100 ohm'"),
    ("", "ohm", f"write a limit such as {SHAPES}, not ''"),
    ("..", "ohm", f"write a limit such as {SHAPES}, not '..'"),
    ("at most 0.3", "ohm", "write a number and its unit, such as \"0.42 ohm\", not '0.3'"),
    ("at most 3 V", "ohm", "expected a unit like ohm, saw 'V' in '3 V'"),
    ("2 .. 1 ohm", "ohm", "the lower end comes first, and '2 .. 1 ohm' has it above the upper"),
    ("100 ohm + 10 %", "ohm", 'write "± 10 %" or "+5 % -10 %" behind the value, not \'100 ohm + 10 %\''),
    ("100 ohm ± 5 kohm", "ohm", "write both parts in the same unit, not '100 ohm ± 5 kohm'"),
    ("20 degC ± 5 %", "kelvin", 'a percentage of a temperature means nothing: write "20 degC ± 5 degC"'),
]


@pytest.mark.parametrize(("text", "like", "message"), WRONG)
def test_what_is_no_limit_is_told(text, like, message):
    with pytest.raises(WrongValue) as caught:
        parse_limit(text, like)
    assert str(caught.value) == message


WORDS_AND_SIGNS = st.lists(
    st.sampled_from(
        ["at most", "at least", "..", "±", "+", "-", "5", "1e300", "-0.5", "%", "ohm", "V", "of", "plate", "open"]
    ),
    max_size=7,
)


@settings(deadline=None)  # the first unit loads pint
@given(
    st.one_of(WORDS_AND_SIGNS.map(" ".join), st.text(max_size=20)), st.sampled_from(["ohm", "kelvin", "dimensionless"])
)
def test_any_text_is_a_limit_or_refused(text, like):
    try:
        bounds = parse_limit(text, like)
    except WrongValue:
        return
    assert bounds.is_open or bounds.by_method or bounds.low is not None or bounds.high is not None
    assert bounds.low is None or bounds.high is None or bounds.low <= bounds.high
