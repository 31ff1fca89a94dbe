"""The picture: a well-formed SVG that says in words what it shows."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from heating_simulator import Bench, csv_text

from meterlog.heating import read_mass, read_moment, read_stated, read_trace, run
from meterlog.heating.plot import HEIGHT, WIDTH, plot

SVG = "{http://www.w3.org/2000/svg}"


def picture(bench, **times):
    room = read_stated("21 °C", "kelvin")
    moments = {key: read_moment(text) for key, text in times.items()}
    answer = run(read_trace(csv_text(bench), "run.csv"), read_mass("1 kg ± 2 g"), ambient=room, **moments)
    return answer, ET.fromstring(plot(answer))


def words(root):
    return [element.text for element in root.iter(f"{SVG}text")]


def test_it_names_the_power_the_periods_the_rise_and_the_axes():
    answer, root = picture(Bench(end=300))
    assert root.find(f"{SVG}title").text == f"Useful power {answer.power:.0f} W ± {answer.expanded_uncertainty:.0f} W"
    assert {"before", "heating", "after", "corrected", "rise", "time in s", "°C"} <= set(words(root))


def test_the_corrected_rise_is_the_heat_over_the_heat_capacity():
    answer, root = picture(Bench())
    shown = next(float(word.removesuffix(" K")) for word in words(root) if word.endswith(" K"))
    assert shown == pytest.approx(answer.energy / 4183.0, rel=0.003)


def test_a_refused_run_shows_its_trace_and_why():
    _, root = picture(replace(Bench(), out=(50, 185), end=192), start="60", stop="180")
    assert "Heating run: no power could be told" in words(root)
    assert any("plateau" in word for word in words(root))
    assert root.find(f"{SVG}polyline[@class='trace']") is not None


@pytest.mark.parametrize("end", [200, 320])
def test_everything_lies_inside(end):
    _, root = picture(Bench(end=end))
    for line in root.iter(f"{SVG}polyline"):
        for place in line.get("points").split():
            x, y = map(float, place.split(","))
            assert 0 <= x <= WIDTH
            assert 0 <= y <= HEIGHT
