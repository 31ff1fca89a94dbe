"""The picture of a heating run: what it draws, and what it says to whoever does not see it."""

import math
from dataclasses import replace

import pytest
from heating_simulator import Bench, csv_text

from meterlog.heating import Load, read_mass, read_moment, read_stated, read_trace, run
from meterlog.heating.answer.words import as_dict, as_text, periods
from meterlog.plots.heating_run import plot_of

ROOM = read_stated("21 °C", "kelvin")


def heated(bench, hole=False, **times):
    moments = {key: read_moment(text) for key, text in times.items()}
    return run(
        read_trace(csv_text(bench, hole=hole), "run.csv"),
        (Load(mass=read_mass("1 kg ± 2 g")),),
        ambient=ROOM,
        **moments,
    )


def named(plot):
    return {trace.name: trace for trace in plot.traces}


def test_it_shows_trace_periods_fitted_lines_and_the_corrected_rise():
    answer = heated(Bench())
    plot = plot_of(answer)
    assert [(band.name, band.is_shaded) for band in plot.bands] == [
        ("before", False), ("heating", True), ("after", False)
    ]  # fmt: skip
    assert (plot.bands[1].low, plot.bands[1].high) == (answer.heating.start, answer.heating.stop)
    styles = [trace.style for trace in plot.traces]
    assert styles == ["line", "fitted", "dashed", "fitted", "dashed", "fitted", "dashed", "span"]
    assert (plot.x_label, plot.y_label) == ("time, s", "temperature, °C")


def test_it_says_the_power_and_tells_the_rest():
    answer = heated(Bench(vessel=0), start="60", stop="180")
    plot = plot_of(answer)
    assert plot.says.startswith(("Useful power 89", "Useful power 90"))
    assert plot.says.endswith(", a lower bound")
    shown = plot.says.removeprefix("Useful power ").removesuffix(", a lower bound")
    assert as_text(answer).startswith(f"useful power at full output {shown} (k = ")
    first, last = answer.founds[0].first.kelvin - 273.15, answer.founds[0].last.kelvin - 273.15
    assert plot.tells.startswith(
        f"Heated from 60.0 s to 180.0 s (stated). The load stood at {first:.2f} °C at the start and at {last:.2f} °C "
        "at the stop; corrected for what the room took, it rose by 25."
    )


def test_the_corrected_rise_is_the_heat_over_the_heat_capacity():
    answer = heated(Bench())
    span = plot_of(answer).traces[-1]
    rise = span.points[1][1] - span.points[0][1]
    assert rise == pytest.approx(answer.energy / 4183.0, rel=0.003)
    assert span.name == f"corrected rise: {rise:.2f} K"


def test_no_line_is_drawn_while_the_probe_was_out():
    trace = plot_of(heated(Bench(power=800, first=12, out=(50, 195)), hole=True, start="60", stop="180")).traces[0]
    assert sum(math.isnan(y) for _, y in trace.points) == 1


def test_a_refused_run_shows_its_trace_and_why():
    plot = plot_of(heated(replace(Bench(), out=(50, 185), end=192), start="60", stop="180"))
    assert plot.says.startswith("No power could be told: still rising by ")
    assert [trace.name for trace in plot.traces] == ["temperature"]
    assert plot.bands == []


def test_two_vessels_are_told_apart_by_line_and_by_words():
    text = csv_text(Bench(power=450)).splitlines()
    other = csv_text(Bench(power=420, first=17, seed=1)).splitlines()[1:]
    rows = [f"{row},{second.split(',')[1]}" for row, second in zip(text[1:], other, strict=True)]
    trace = read_trace("\n".join(["t_s,temperature_1_C,temperature_2_C", *rows]), "run.csv")
    load = Load(mass=read_mass("1 kg"))
    answer = run(trace, (load, load), start=read_moment("60"), stop=read_moment("180"))
    plot = plot_of(answer)
    both = [trace for trace in plot.traces if trace.name.startswith("temperature")]
    assert [(trace.name, trace.style) for trace in both] == [
        ("temperature in the first vessel", "line"), ("temperature in the second vessel", "dotted")
    ]  # fmt: skip
    first, second = (trace for trace in plot.traces if trace.style == "span")
    assert first.name.startswith("corrected rise in the first vessel: 12.")
    assert second.points[0][0] > first.points[0][0]
    assert [period.period for period in periods(answer)] == [
        "before, first vessel", "heating, first vessel", "after, first vessel",
        "before, second vessel", "heating, second vessel", "after, second vessel",
    ]  # fmt: skip


def test_the_periods_are_those_of_the_picture():
    answer = heated(Bench(), start="60", stop="180")
    before, heating, after = periods(answer)
    lines = [trace.points for trace in plot_of(answer).traces if trace.style == "fitted"]
    for period, line in ((before, lines[0]), (after, lines[1])):
        assert [(period.from_s, period.from_C), (period.to_s, period.to_C)] == [pytest.approx(end) for end in line]
        assert period.is_still
    assert not heating.is_still
    assert (heating.from_s, heating.to_s) == (60.0, 180.0)
    assert heating.slope_K_per_s == pytest.approx(900.0 / 4183.0, rel=0.02)
    # by hand: 1.2 W/K over 4183 J/K: 15 °C warms by 6 K × 0.29 mK/s/K, 40 °C cools by 19 K × the same
    assert before.slope_K_per_s == pytest.approx(6 * 1.2 / 4183, rel=0.4)
    assert after.slope_K_per_s == pytest.approx(-19 * 1.2 / 4183, rel=0.2)
    assert as_dict(answer)["periods"][2]["from_s"] == after.from_s
