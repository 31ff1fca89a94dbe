"""Axes, gaps and thinning of the plots."""

import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from meterlog.drawing import Band, Plot, Trace, draw, draw_both, thinned, tick_words, ticks

TICKS = [  # low, high, by hand: the steps 1, 2, 5 that give at most six ticks or so
    (0.0, 9.3, [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]),
    (0.42, 0.44, [0.42, 0.425, 0.43, 0.435, 0.44]),
    (-3.0, 3.0, [-4.0, -2.0, 0.0, 2.0, 4.0]),
    (5.0, 5.0, [2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]),
]


@pytest.mark.parametrize(("low", "high", "expected"), TICKS)
def test_ticks_are_round(low, high, expected):
    assert ticks(low, high) == pytest.approx(expected)


@example(low=900997367.1363851, width=1e-6)  # eight floats wide: n times a rounded step lay beyond the end
@example(low=1.0, width=1e-15)  # five floats wide: two ticks were one float
@given(low=st.floats(-1e9, 1e9), width=st.floats(1e-6, 1e9))
def test_ticks_enclose_their_range(low, width):
    marks = ticks(low, low + width)
    assert marks[0] <= low + width * 1e-6
    assert marks[-1] >= low + width - width * 1e-6
    assert 2 <= len(marks) <= 12
    assert sorted(set(marks)) == marks


def test_ticks_are_written_as_finely_as_they_differ():
    assert tick_words([-0.2, 0.0, 0.2]) == ["−0.2", "0.0", "0.2"]
    assert tick_words([0.0, 500.0]) == ["0", "500"]


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=5000))
def test_thinning_keeps_the_extremes(values):
    points = [(float(i), value) for i, value in enumerate(values)]
    kept = thinned(points, 200)
    assert len(kept) <= max(202, 0)
    assert {min(values), max(values)} <= {y for _, y in kept}


def plot(points, says="A plot"):
    bands = [Band(axis="x", low=0.0, high=1.0, name="run"), Band(axis="y", low=None, high=2.0, name="<limit>")]
    return Plot(says=says, x_label="time, s", y_label="R, Ω", traces=[Trace(points=points, name="r")], bands=bands)


def test_a_plot_is_one_element_with_its_words():
    drawn = ET.fromstring(draw(plot([(0.0, 1.0), (1.0, 3.0)], says='A "quoted" <sentence>')))
    assert drawn.get("aria-label") == 'A "quoted" <sentence>'
    words = [text.text for text in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert {"time, s", "R, Ω", "run", "<limit>"} <= set(words)


def test_a_gap_breaks_the_line():
    drawn = ET.fromstring(draw(plot([(0.0, 1.0), (1.0, math.nan), (2.0, 1.0)])))
    path = next(drawn.iter("{http://www.w3.org/2000/svg}path")).get("d")
    assert path.count("M") == 2


def test_nothing_to_draw_is_refused():
    with pytest.raises(ValueError, match="a plot needs at least one point"):
        draw(plot([(0.0, math.nan)]))


def test_both_widths_are_drawn():
    assert draw_both(plot([(0.0, 1.0)])).count("<svg") == 2
