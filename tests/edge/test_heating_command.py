"""`meterlog heating` as it is typed."""

import json

import pytest
from click.testing import CliRunner
from heating_simulator import Bench, csv_text, simulate

from meterlog.base.errors import CannotDo
from meterlog.cli.heating import heating


def two_vessels(*watts):
    """The log of a thermometer with a probe in each of two vessels, out of the oven while it runs."""
    runs = [
        Bench(power=each, first=15 + n, vessel=120, out=(50, 190), warm_up=2, seed=n) for n, each in enumerate(watts)
    ]
    (times, left, _), (_, right, _) = (simulate(bench) for bench in runs)
    rows = (f"{t:g},{a:.1f},{b:.1f}" for t, a, b in zip(times, left, right, strict=True))
    return "\n".join(["t_s,temperature_1_C,temperature_2_C", *rows])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("runs")
    (place / "kettle.csv").write_text(csv_text(Bench(vessel=230)))
    (place / "again.csv").write_text(csv_text(Bench(vessel=230, seed=1, power=905)))
    (place / "cycling.csv").write_text(
        csv_text(Bench(on=11, period=22, stop=280, end=420, first=12), power=True, efficiency=0.6)
    )
    (place / "two.csv").write_text(two_vessels(430, 470))
    (place / "two-again.csv").write_text(two_vessels(440, 462))
    (place / "oven.csv").write_text(csv_text(Bench(power=800, first=12, out=(50, 195)), hole=True))
    return place


def typed(folder, *words):
    return CliRunner().invoke(heating, [str(folder / w) if w.endswith((".csv", ".svg")) else w for w in words])


ASKED = (
    "--mass", "1000 g ± 2 g", "--vessel", "340 g glass", "--ambient", "21 °C", "--stirred", "before",
    "--stirred", "after",
)  # fmt: skip


def test_json_holds_everything_with_units_in_its_keys(folder):
    done = typed(folder, "--trace", "kettle.csv", *ASKED, "--rated", "900 W", "--json", "--plot", "run.svg")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["power_W"] == pytest.approx(900, abs=told["expanded_uncertainty_W"])
    assert told["standard_uncertainty_W"] * told["coverage_factor"] == pytest.approx(told["expanded_uncertainty_W"])
    assert told["detected"]["start_s"] == pytest.approx(60, abs=2)
    assert told["detected"]["full_output_s"] == pytest.approx(120, abs=1)
    assert told["clock_mean_W"] == pytest.approx(told["power_W"], rel=0.01)
    assert told["verdict"]["outcome"] == "pass"
    assert told["largest_parts"][0] == "vessel, glass: how much warms"
    assert told["improvements"][0]["expanded_then_W"] < told["expanded_uncertainty_W"]
    assert [c["what"] for c in told["corrections"]["applied"]] == ["vessel", "exchange with the room", "probe lag"]
    assert {m["method"] for m in told["other_methods"]} == {"ramp", "water", "quick", "iec-60705"}
    assert (folder / "run.svg").read_text().startswith("<svg")


def test_words_put_the_answer_first(folder):
    done = typed(folder, "--trace", "kettle.csv", *ASKED, "--rated", "1300 W")
    assert done.exit_code == 1
    first, second, third = done.stdout.splitlines()[:3]
    assert first.startswith("useful power at full output 9")
    assert second.startswith("mean over the clock 9")
    assert third.startswith("fail: ")


def test_words_carry_no_digit_that_the_uncertainty_leaves_open(folder):
    """JCGM 100:2008, 7.2.6: two digits of the uncertainty at most, the value to the same place; JSON keeps all."""
    words = ("--trace", "kettle.csv", *ASKED, "--rated", "1300 W")
    told = json.loads(typed(folder, *words, "--json").stdout)
    power, expanded = told["power_W"], told["expanded_uncertainty_W"]
    assert 9.5 < expanded < 99.5
    assert power != round(power, 3)
    assert expanded != round(expanded, 3)
    lines = typed(folder, *words).stdout.splitlines()
    shown = f"{power:.0f} W ± {expanded:.0f} W"
    assert lines[0] == f"useful power at full output {shown} (k = {told['coverage_factor']:.2f})"
    assert lines[2].startswith(f"fail: {shown} lies outside the limits of")
    assert f"  result {power:.0f} W: u = " in "\n".join(lines)
    others = {m["method"]: m["power_W"] for m in told["other_methods"]}
    assert f"  water       {others['water']:8.0f} W  leaves out" in "\n".join(lines)


def test_cycling_is_averaged_over_whole_cycles_with_its_efficiency(folder):
    told = json.loads(typed(folder, "--trace", "cycling.csv", "--mass", "1 kg ± 2 g", "--json").stdout)
    assert told["cycling"]["duty"] == pytest.approx(0.5, abs=0.01)
    assert told["cycling"]["period_s"] == pytest.approx(22, abs=0.1)
    assert told["power_W"] == pytest.approx(900, abs=told["expanded_uncertainty_W"])
    assert told["clock_mean_W"] == pytest.approx(450, abs=told["expanded_uncertainty_W"] / 2)
    assert told["electrical"]["efficiency"] == pytest.approx(0.6, abs=0.01)


def test_repeats_are_pooled(folder):
    told = json.loads(typed(folder, "--trace", "kettle.csv", "--trace", "again.csv", *ASKED, "--json").stdout)
    assert len(told["repeated_runs_W"]) == 2
    assert told["power_W"] == pytest.approx(sum(told["repeated_runs_W"]) / 2)
    assert "spread of the runs" in [line["source"] for line in told["budget"]]


def test_a_refusal_says_what_to_type(folder):
    done = typed(folder, "--trace", "oven.csv", "--mass", "1 kg ± 2 g")
    assert done.exit_code == 1
    assert done.stdout == (
        "no power: the rise is no straight ramp between two levels: the probe was not in the load throughout\n"
        "  give --start and --stop, or log the power\n"
    )
    assert done.stderr.startswith("note: row 197: no temperature for 146 s (from 49 s)\n")
    again = typed(
        folder, "--trace", "oven.csv", "--mass", "1 kg ± 2 g", "--start", "60", "--stop", "180 s", "--ambient", "21 °C"
    )
    assert again.exit_code == 0, again.output


def test_an_unknown_method_is_a_wrong_command_line(folder):
    assert typed(folder, "--trace", "kettle.csv", "--mass", "1 kg", "--method", "guess").exit_code == 2


def test_a_trace_that_is_not_there_cannot_be_read(folder):
    done = typed(folder, "--trace", "missing.csv", "--mass", "1 kg")
    assert isinstance(done.exception, CannotDo)
    assert "can't be read: No such file or directory" in str(done.exception)


def test_a_plate_of_input_is_held_against_the_metered_power(folder):
    told = json.loads(typed(folder, "--trace", "cycling.csv", *ASKED, "--rated", "1500 W input", "--json").stdout)
    assert told["verdict"]["outcome"] == "pass"
    assert told["verdict"]["value"] == pytest.approx(1500)
    without = json.loads(typed(folder, "--trace", "kettle.csv", *ASKED, "--rated", "1500 W input", "--json").stdout)
    assert without["verdict"]["outcome"] == "not judged"
    assert without["verdict"]["why"] == "The plate states electrical input, and no power was logged."


def test_the_manner_of_a_standard_tells_what_was_not_met(folder):
    told = json.loads(typed(folder, "--trace", "kettle.csv", *ASKED, "--method", "iec-60705", "--json").stdout)
    assert [note.removeprefix("not met, or not shown, of IEC 60705: ") for note in told["notes"]] == [
        "rounded to 50 W, as that standard prints it: 900 W",  # by hand: (4187 × 24.3 + 187 × 18.4) / 120 = 877 W
        "water at 10 °C ± 2 °C before: was 15.1 °C",
        "water at 20 °C ± 2 °C after: was 39.4 °C",
        "vessel of borosilicate glass, 190 mm wide, at most 3 mm thick, at room temperature: not shown",
        "oven cold for 6 h, rated voltage ± 1 %: not shown",
    ]


TWO = ("--mass", "1 kg ± 2 g", "--mass", "1 kg ± 2 g", "--start", "60", "--stop", "180")


def test_two_vessels_are_two_loads_and_two_columns(folder):
    vessels = ("--vessel", "120 J/K ± 10 J/K", "--vessel", "120 J/K ± 10 J/K", "--ambient", "21 °C")
    done = typed(folder, "--trace", "two.csv", *TWO, *vessels, "--rated", "900 W", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["power_W"] == pytest.approx(900, abs=told["expanded_uncertainty_W"])
    assert [vessel["vessel"] for vessel in told["vessels"]] == ["first", "second"]
    assert told["vessels"][1]["first_temperature_C"] == pytest.approx(16.0, abs=0.1)
    assert {m["method"] for m in told["other_methods"]} == {"water", "two-vessels"}


def test_the_two_litre_test_is_a_method_and_its_repeats_are_pooled(folder):
    done = typed(folder, "--trace", "two.csv", "--trace", "two-again.csv", *TWO, "--method", "two-vessels", "--json")
    told = json.loads(done.stdout)
    assert told["method"] == "two-vessels"
    assert told["power_W"] == pytest.approx(sum(told["repeated_runs_W"]) / 2)
    names = [line["source"] for line in told["budget"]]
    assert "spread of the runs" in names
    assert not [name for name in names if name.startswith("mixing")]
    assert "not met, or not shown, of the two-litre test: two minutes and 2 s: was 120.0 s" in told["notes"]


PAIRS = [  # options, the whole message
    (("--method", "two-vessels"), "--method: two-vessels heats two loads, one in each vessel, and one was given; "
     "give --mass once for each vessel"),
    (("--mass", "1 kg", "--method", "quick"), "--method: quick heats one load; of two, enthalpy, water, two-vessels "
     "tell the power; give --mass once for each vessel"),
    (("--mass", "1 kg", "--vessel", "340 g glass"), "--vessel: two loads and one vessel: give --vessel twice, alike or "
     "not, or leave it out"),
    (("--vessel", "340 g glass", "--vessel", "340 g glass"), "--vessel: 2 vessels and 1 load: give --mass for each "
     "vessel"),
    (("--mass", "1 kg", "--mass", "1 kg"), "--mass: one load, or one in each of two vessels, not 3"),
]  # fmt: skip


@pytest.mark.parametrize(("options", "message"), PAIRS)
def test_loads_that_do_not_pair_are_a_wrong_command_line(folder, options, message):
    done = typed(folder, "--trace", "two.csv", "--mass", "1 kg", *options)
    assert done.exit_code == 2
    assert done.stderr.splitlines()[-1] == f"Error: Invalid value for {message}"


def test_one_load_and_the_temperatures_of_two_vessels_tell_no_power(folder):
    done = typed(folder, "--trace", "two.csv", "--mass", "1 kg", "--start", "60", "--stop", "180")
    assert done.exit_code == 1
    assert done.stdout == (
        "no power: the trace has the temperatures of two vessels, and one load was given\n"
        '  give the second vessel\'s too: --mass "1 kg" --mass "1 kg"\n'
    )


def test_warm_up_and_stirring_are_said_on_the_command_line(folder):
    ask = (
        "--trace",
        "oven.csv",
        "--mass",
        "1 kg ± 2 g",
        "--start",
        "60",
        "--stop",
        "180",
        "--ambient",
        "12 °C",
        "--json",
    )
    assert json.loads(typed(folder, *ask).stdout)["corrections"]["refused"][0]["what"] == "probe in the load"
    said = json.loads(typed(folder, *ask, "--stirred", "before", "--warm-up", "0 s").stdout)
    assert said["detected"]["probe_in_load_by"][0].endswith("said, not seen")
    assert said["detected"]["warm_up_from"] == "stated"
    assert said["power_W"] == said["clock_mean_W"]
    usual = json.loads(typed(folder, *ask, "--stirred", "before").stdout)
    assert usual["power_W"] == pytest.approx(said["power_W"] * 120 / 118, rel=0.002)  # by hand: 120 s less 2 s
    assert usual["clock_mean_W"] == pytest.approx(said["power_W"], rel=0.002)


def test_a_warm_up_that_is_none_is_told(folder):
    done = typed(folder, "--trace", "oven.csv", "--mass", "1 kg", "--warm-up", "2 min")
    assert str(done.exception) == "a warm-up is 0 s to 60 s, not '2 min'"
