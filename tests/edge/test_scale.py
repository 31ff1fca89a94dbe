"""The limit's line: ends by hand, and places that never leave it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.judging.limit import Limit
from meterlog.report.wording import amount, percent
from meterlog.web.at_hand import since
from meterlog.web.scale import scale_of


def limit(low, high, **more):
    return Limit(low=low, high=high, unit="ohm", text="", source="", **more)


def test_a_recording_s_clock_that_runs_ahead_shows_no_time():
    assert since(None, 100.0) is None
    assert since(90.0, 100.0) == 10.0
    assert since(500.0, 100.0) is None


ENDS = [  # low, high, first, last, band: by hand, as much room outside as inside
    (None, 0.5, 0.0, 1.0, (0.0, 0.5)),
    (1e6, None, 0.0, 3e6, (1 / 3, 1.0)),
    (15.0, 30.0, 7.5, 37.5, (0.25, 0.75)),
]


@pytest.mark.parametrize(("low", "high", "first", "last", "band"), ENDS)
def test_the_line_has_room_on_both_sides(low, high, first, last, band):
    scale = scale_of(limit(low, high), "ohm")
    assert (scale.first, scale.last) == (first, last)
    assert scale.band == pytest.approx(band)


@pytest.mark.parametrize(
    "none", [None, limit(None, None), limit(None, None, is_open=True), limit(0.9, 1.1, of="plate")]
)
def test_what_has_no_ends_has_no_line(none):
    assert scale_of(none, "ohm") is None


@given(st.floats(-1e9, 1e9), st.floats(0.001, 1e6), st.floats(allow_nan=False))
def test_a_place_stays_on_the_line(low, width, value):
    assert 0.0 <= scale_of(limit(low, low + width), "ohm").place(value) <= 1.0


def test_a_probability_is_never_all_or_nothing():
    said = [percent(part) for part in (0.0, 0.0004, 0.5, 0.977, 0.9996, 1.0, None)]
    assert said == ["under 0.1 %", "under 0.1 %", "50 %", "97.7 %", "over 99.9 %", "over 99.9 %", "—"]


def test_a_spread_of_temperatures_is_a_difference():
    assert amount(0.1, "kelvin") == "0.1 K"
