"""Digits survive exactly, and values come from them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.base.readings import Bound, Form, Reading


def ohms(**more):
    return Form(**{"quantity": "resistance", "unit": "ohm", "scale": 1.0, **more})


SHOWN = [  # decimals, width, counts, negative zero, digits on the display
    (3, 1, 420, False, "0.420"),
    (2, 3, 42, False, "000.42"),
    (1, 1, -15, False, "-1.5"),
    (2, 1, 0, True, "-0.00"),
    (0, 4, 7, False, "0007"),
    (-2, 1, 15, False, "15E+2"),
]


@pytest.mark.parametrize(("decimals", "width", "counts", "minus", "digits"), SHOWN)
def test_digits_are_as_shown(decimals, width, counts, minus, digits):
    assert ohms(decimals=decimals, width=width, negative_zero=minus).digits(counts) == digits


@given(st.integers(-(10**9), 10**9), st.integers(0, 9))
def test_the_value_is_the_digits(counts, decimals):
    reading = Reading(ohms(decimals=decimals), counts)
    assert reading.value == float(reading.digits)


def test_a_prefix_below_one_stays_exact():
    form = Form(quantity="voltage", unit="mV", scale=0.001, decimals=1)
    assert Reading(form, 4201).value == 0.4201


def test_a_bound_has_an_edge_and_no_value():
    above = Reading(ohms(bound=Bound.ABOVE, decimals=1, unit="Gohm", scale=1e9), 22)
    assert (above.value, above.edge, above.digits) == (None, 2.2e9, "2.2")
    over = Reading(ohms(bound=Bound.OVERLOAD, range_top=6e6), None)
    assert (over.value, over.edge, over.digits) == (None, 6e6, "")


@pytest.mark.parametrize(
    ("bound", "counts", "words"),
    [(None, 420, "0.420 Gohm"), (Bound.ABOVE, 4500, "> 4.500 Gohm"), (Bound.BELOW, 10, "< 0.010 Gohm"),
     (Bound.OVERLOAD, None, "overload")],
)  # fmt: skip
def test_a_reading_in_words_keeps_its_bound(bound, counts, words):
    form = Form(quantity="insulation_resistance", unit="Gohm", scale=1e9, decimals=3, bound=bound)
    assert Reading(form, counts).words == words
