"""Axes, gaps and thinning of the plots."""

import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from meterlog.plots.drawing import STYLES, Curve, Plot, PlotBand, draw, draw_alone, draw_both, thinned
from meterlog.plots.ticks import tick_words, ticks

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


SVG = "{http://www.w3.org/2000/svg}"


def plot(points, says="A plot", **more):
    bands = [PlotBand(axis="x", low=0.0, high=1.0, name="run"), PlotBand(axis="y", low=None, high=2.0, name="<limit>")]
    traces = [Curve(points=points, name="r")]
    return Plot(says=says, x_label="time, s", y_label="R, Ω", **{"traces": traces, "bands": bands} | more)


def texts(drawn):
    return [text.text for text in drawn.iter(f"{SVG}text")]


def boxes(drawn):
    """(text, left, right, top, bottom) of each text that is not turned, a letter taken as 0.5 of its height wide."""
    out = []
    for text in drawn.iter(f"{SVG}text"):
        if text.get("transform"):
            continue
        height = float(text.get("font-size", drawn.get("font-size")))
        x, y, wide = float(text.get("x")), float(text.get("y")), 0.5 * height * len(text.text)
        left = x - {"middle": wide / 2, "end": wide}.get(text.get("text-anchor"), 0.0)
        out.append((text.text, left, left + wide, y - 0.75 * height, y + 0.2 * height))
    return out


def crossing(drawn):
    """Pairs of texts that overlap, and texts that leave the drawing."""
    _, _, width, height = map(float, drawn.get("viewBox").split())
    found = boxes(drawn)
    over = [
        (a[0], b[0])
        for n, a in enumerate(found)
        for b in found[:n]
        if a[1] < b[2] and b[1] < a[2] and a[3] < b[4] and b[3] < a[4]
    ]
    return over + [box[0] for box in found if box[1] < 0 or box[2] > width or box[3] < 0 or box[4] > height]


def test_a_plot_is_one_element_with_its_words():
    drawn = ET.fromstring(draw(plot([(0.0, 1.0), (1.0, 3.0)], says='A "quoted" <sentence>', tells="And <more>.")))
    assert drawn.get("role") == "img"
    assert drawn.find(f"{SVG}title").text == 'A "quoted" <sentence>'
    assert drawn.find(f"{SVG}desc").text == "And <more>."
    assert {"time, s", "R, Ω", "run", "<limit>"} <= set(texts(drawn))


def test_a_gap_breaks_the_line():
    drawn = ET.fromstring(draw(plot([(0.0, 1.0), (1.0, math.nan), (2.0, 1.0)])))
    path = next(drawn.iter(f"{SVG}path")).get("d")
    assert path.count("M") == 2


def test_nothing_to_draw_is_refused():
    with pytest.raises(ValueError, match="a plot needs at least one point"):
        draw(plot([(0.0, math.nan)]))


def test_both_widths_are_drawn():
    assert draw_both(plot([(0.0, 1.0)])).count("<svg") == 2


def test_the_frame_ends_where_the_readings_do():
    drawn = ET.fromstring(draw(plot([(0.0, 1.0), (1300.0, 3.0)])))
    assert {"0", "500", "1000"} <= set(texts(drawn))
    assert "1500" not in texts(drawn)
    right = max(float(line.get("x2")) for line in drawn.iter(f"{SVG}line"))
    last = next(drawn.iter(f"{SVG}path")).get("d").rpartition("L")[2]
    assert float(last.split(",")[0]) == right


def test_what_is_counted_has_whole_ticks():
    assert {"1.2", "1.4"} <= set(texts(ET.fromstring(draw(plot([(1.0, 5.0), (2.0, 9.0)])))))
    counted = texts(ET.fromstring(draw(plot([(1.0, 5.0), (2.0, 9.0)], counts_x=True))))
    assert {"1", "2"} <= set(counted)
    assert not {"1.0", "1.2", "1.4"} & set(counted)


@given(
    st.lists(st.floats(0.02, 1.0), min_size=2, max_size=4),
    st.lists(st.sampled_from(["before", "heating", "after", "the settled run: 1.714 Ω"]), min_size=4, max_size=4),
    st.floats(1.0, 1e4),
)
def test_names_above_never_overlap_and_keep_their_order(parts, names, length):
    edges = [sum(parts[:n]) / sum(parts) * length for n in range(len(parts) + 1)]
    bands = [PlotBand(axis="x", low=a, high=b, name=name) for a, b, name in zip(edges, edges[1:], names, strict=False)]
    traces = [Curve(points=[(0.0, 0.0), (length, 1.0)], name="t")]
    drawn = ET.fromstring(draw_alone(plot([], traces=traces, bands=bands)))
    assert crossing(drawn) == []
    found = [box for box in boxes(drawn) if box[0] in names]
    assert [box[0] for box in found] == [band.name for band in bands]


@pytest.mark.parametrize("low", [-0.000012, 0.0, 14.2, 99_990.0, -1234.5])
@pytest.mark.parametrize("width", [320, 640])
def test_no_text_overlaps_or_leaves_the_drawing(low, width):
    title = "No power could be told: the load was not stirred, or the probe not held still: readings scatter by 0.40 K"
    traces = [
        Curve(points=[(low, low), (low + 12.0, low + 3e-5)], name=f"a {style} line " * 4, style=style)
        for style in STYLES
    ]
    assert crossing(ET.fromstring(draw(plot([], title=title, traces=traces, width=width)))) == []


def test_a_style_stands_in_the_legend_once_and_a_nameless_one_never():
    points = [(0.0, 1.0), (1.0, 2.0)]
    traces = [
        Curve(points=points, name="temperature"), Curve(points=points, name="fitted line", style="fitted"),
        Curve(points=points, name="fitted line", style="fitted"), Curve(points=points, name="", style="dashed"),
    ]  # fmt: skip
    drawn = ET.fromstring(draw(plot([], traces=traces, bands=())))
    assert [word for word in texts(drawn) if word in ("temperature", "fitted line", "")] == [
        "temperature",
        "fitted line",
    ]
    kinds = [path.get("class") for path in drawn.iter(f"{SVG}path")]
    # the broad lines lie below; then the other traces, and the legend's two samples
    assert kinds == [
        "plot-trace plot-fitted", "plot-trace plot-fitted", "plot-trace plot-line", "plot-trace plot-dashed",
        "plot-trace plot-line", "plot-trace plot-fitted",
    ]  # fmt: skip


def test_a_span_is_a_bar_with_ends():
    spans = [
        Curve(points=[(1.0, 0.0), (1.0, 2.0)], name="rise", style="span"),
        Curve(points=[(0.0, 0.0), (2.0, 2.0)], name="t"),
    ]
    path = next(ET.fromstring(draw(plot([], traces=spans))).iter(f"{SVG}path")).get("d")
    bar, *ends = [[tuple(map(float, place.split(","))) for place in part.split(" L")] for part in path.split("M")[1:]]
    assert bar[0][0] == bar[1][0]
    assert [(end[0][1], end[1][0] - end[0][0]) for end in ends] == [(bar[0][1], 10.0), (bar[1][1], 10.0)]


def test_a_file_brings_its_ground_and_both_schemes():
    drawn = ET.fromstring(draw_alone(plot([(0.0, 1.0), (1.0, 3.0)])))
    assert "prefers-color-scheme: dark" in drawn.find(f"{SVG}style").text
    assert drawn.find(f"{SVG}rect").get("class") == "plot-ground"
    assert float(drawn.get("width")) > 500  # on a desk; narrower screens make it fit
