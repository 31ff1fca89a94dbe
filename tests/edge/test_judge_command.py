"""`meterlog judge` and `meterlog evaluate`, as they are typed."""

import json

import pytest
from click.testing import CliRunner

from meterlog.base.errors import WrongValue
from meterlog.cli import meterlog


def run(*args):
    return CliRunner().invoke(meterlog, list(args))


JUDGED = ["judge", "0.42 ohm", "--limits", "..1.0 ohm", "--accuracy", "0.5% + 3 counts", "--resolution", "0.01 ohm",
          "--rule", "guard-band"]  # fmt: skip


def test_a_value_is_judged():
    done = run(*JUDGED)
    assert done.exit_code == 0
    assert done.stdout.splitlines() == [
        "pass",
        "0.420 Ω ± 0.031 Ω lies within the limit of at most 1 Ω.",
        "",
        "  shown: 0.42 Ω, last digit 0.01 in SI",
        "    accuracy: 0.005 × 0.42 + 3 × 0.01 + 0 = 0.0321",
        "    calibration: its age is not known, the accuracy is taken as stated",
        "    u = 0.0321 / √3 = 0.01853",
        "  result 0.420 Ω: u = 0.01853, k = 1.653 (the sum of one rectangle), U = 0.03064, 95.45 %",
        "  limits at most 1 Ω; rule: guard band",
        "  guard band w = 1 × U = 0.03064: passes at most 0.9694 Ω",
        "  a value just within that would be outside the limit with probability 0.0228",
        "  probability of conformity 1.0000, as far as the meter can say",
        "",
        "  error                  distribution  u        sensitivity  contribution  ν  share",
        "  accuracy of the meter  rectangular   0.01853  1            0.01853       ∞  100 %",
        "  combined                                                   0.01853       ∞",
        "  expanded, 95.45 %                             k = 1.65     0.03064",
    ]


def test_json_carries_what_a_program_asks_for():
    found = json.loads(run(*JUDGED, "--json").stdout)
    assert (found["outcome"], found["probability"], found["unit"]) == ("pass", 1.0, "ohm")
    assert found["expanded_uncertainty"] == pytest.approx(0.0321 * 0.9545, abs=1e-6), "a rectangle: 0.9545 of its width"
    assert found["coverage_factor"] == pytest.approx(0.9545 * 3**0.5, abs=1e-4)
    assert found["acceptance"] == [None, pytest.approx(1.0 - 0.0321 * 0.9545, abs=1e-6)]


OUTCOMES = [  # arguments, exit, first line
    (["> 2.2 Gohm", "--limits", "1 Mohm.."], 0, "pass"),
    (["overload", "--range-top", "6 Mohm", "--limits", "20 Mohm.."], 1, "undecided"),
    (["overload", "--range-top", "6 Mohm", "--limits", "..1 ohm"], 1, "fail"),
    (["overload", "--range-top", "6 Mohm", "--limits", "open"], 0, "pass"),
    (["0.99 ohm", "--limits", "..1 ohm", "--accuracy", "1 % + 3 counts"], 1, "undecided"),
    (["0.99 ohm", "--limits", "..1 ohm", "--accuracy", "1 % + 3 counts", "--leads", "0.10 ohm"], 0, "pass"),
    (["0.99 ohm", "--limits", "..1 ohm", "--accuracy", "1 % + 3 counts", "--rule", "simple-acceptance"], 0, "pass"),
    (["-0.5 V", "--limits", "-1 V .. 0 V"], 0, "pass"),
    (["-5 ohm", "--limits", "..1 ohm"], 0, "pass"),
    (["21.0 degC"], 0, "not judged: 21.000 °C ± 0.048 K"),
    (["60 ohm", "--limits", "..100 ohm", "--parallel"], 1, "undecided"),
]


@pytest.mark.parametrize(("args", "code", "first"), OUTCOMES)
def test_outcomes(args, code, first):
    done = run("judge", *args)
    assert (done.exit_code, done.stdout.splitlines()[0]) == (code, first)


MARKINGS = [  # marking, measured, exit, first lines
    ("474K 275V~ X2", "0.46 uF ± 5 nF", 0, "460.0 nF ± 4.8 nF lies within the limits of 423 nF to 517 nF."),
    ("474K 275V~ X2", "0.38 uF ± 5 nF", 1, "380.0 nF ± 4.8 nF lies outside the limits of 423 nF to 517 nF."),
]


@pytest.mark.parametrize(("marking", "value", "code", "why"), MARKINGS)
def test_a_part_against_its_marking(marking, value, code, why):
    done = run("evaluate", "capacitance-against-marking", f"capacitance={value}", f"marking={marking}")
    assert (done.exit_code, done.stdout.splitlines()[1]) == (code, why)


@pytest.mark.parametrize("other", ["420 mohm", "420 mΩ", "0.00042 kohm"])
def test_units_do_not_matter(other):
    same = json.loads(run("judge", other, *JUDGED[2:], "--json").stdout)
    plain = json.loads(run(*JUDGED, "--json").stdout)
    for one in (same, plain):
        one["trail"] = one["trail"][1:]  # the first line says what was shown
    assert same == plain


def test_an_overload_reminds_of_its_proof():
    done = run("judge", "overload", "--range-top", "6 Mohm")
    assert done.stderr == "overload is believed as an open circuit only when the leads were proved before and after\n"


WRONG = [
    (["judge", "1e400 ohm"], "no number on a bench is as long: '1e400 ohm'"),
    (["judge", "1e-400 ohm"], "no number on a bench is as long: '1e-400 ohm'"),
    (["judge", "1 ohm", "--guard", "nan"], "a guard band is a plain number, not nan"),
    (["judge", "0.42"], "write a number and its unit, such as \"0.42 ohm\", not '0.42'"),
    (["judge", "overload"], "write a number and its unit, such as \"0.42 ohm\", not 'overload'"),
    (["judge", "0.42 ohm", "--limits", "..1 V"], "expected a unit like ohm, saw 'V' in '1 V'"),
    (["judge", "0.42 ohm", "--resolution", "0 ohm"], "a resolution is more than nothing, not '0 ohm'"),
    (["judge", "1 W", "--limits", "at least 85 % of rated output"],
     "'at least 85 % of rated output' is a part of 'rated output': write the limit itself here"),
    (["evaluate", "winding-rice", "hot=1 ohm"], "no method 'winding-rice': did you mean 'winding-rise'?"),
    (["evaluate", "winding-rise", "hot=1 ohm"],
     "winding rise needs cold: of the cold winding, same meter, range and leads"),
    (["evaluate", "winding-rise", "hat=1 ohm"], "winding rise takes no 'hat': did you mean 'hot'?"),
    (["evaluate", "ratio", "above"], "write an input as name=value, such as hot=\"5.71 ohm\", not 'above'"),
    (["evaluate", "drift", "run=1 ohm, 2 ohm"],
     "write a time and a reading, such as \"10 s: 5.638 ohm\", not '1 ohm'"),
]  # fmt: skip


@pytest.mark.parametrize(("args", "message"), WRONG)
def test_what_cannot_be_read_is_said(args, message):
    done = run(*args)
    assert isinstance(done.exception, WrongValue)
    assert str(done.exception) == message
    assert done.exception.exit_code == 2  # 1 would read as "does not pass"


NEAR = [  # what was typed, what is asked
    (["judge", "0.42 ohm", "--limit", "..1 ohm"], "No such option '--limit'. Did you mean '--limits'?"),
    (["juge", "0.42 ohm"], "No such command 'juge'. Did you mean 'judge'?"),
    (["frob"], "No such command 'frob'."),
    (["judge", "-0.42 V", "--accurcy=1 %"], "No such option '--accurcy'. Did you mean '--accuracy'?"),
]


@pytest.mark.parametrize(("args", "asked"), NEAR)
def test_a_mistyped_word_is_asked_about(args, asked):
    done = run(*args)
    assert (done.exit_code, done.stderr.splitlines()[-1]) == (2, f"Error: {asked}")


def test_limits_too_close_for_the_meter_are_said_to_pass_nothing():
    done = run("judge", "1.000 ohm", "--limits", "0.95-1.05 ohm", "--accuracy", "10 %")
    assert (done.exit_code, done.stdout.splitlines()[0]) == (1, "undecided")
    assert "passes nothing, for the limits lie closer than twice that" in done.stdout  # 10 % of 1 ohm: 0.1 > 0.05


def test_a_method_on_the_command_line():
    done = run("evaluate", "protective-conductor", "resistance=0.22 ohm ± 1 % + 3 counts", "length=10 m")
    assert done.exit_code == 0
    assert done.stdout.splitlines()[:2] == [
        "pass",
        "0.220 Ω ± 0.031 Ω lies within the limit of at most 0.3667 Ω. "
        "A hand meter's reading is an indication, not the rated-current test.",
    ]


def test_methods_are_listed_and_tell_what_they_take():
    assert "winding-rise                Mean temperature rise of a winding" in run("evaluate").stdout
    done = run("evaluate", "absorption-ratio")
    assert done.exit_code == 2
    assert done.stdout.splitlines() == [
        "Insulation resistance at one minute over that at half a minute.",
        "  run             series: the whole run, logged; left out: without",
        "  half            measured: at the early time; left out: without",
        "  minute          measured: at one minute; left out: without",
        "  early           given: the early time; left out: 30 s",
    ]
