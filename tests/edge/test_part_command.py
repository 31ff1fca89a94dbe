"""`meterlog part` as it is typed: answers on stdout, cautions on stderr, the exit code."""

import json

import pytest

from meterlog.cli import main
from meterlog.procedure.cautions import CAUTIONS


def run(capsys, *args):
    with pytest.raises(SystemExit) as left:
        main(["part", *args])
    out, err = capsys.readouterr()
    return left.value.code, out, err


def test_cautions_come_with_every_capacitor(capsys):
    code, out, err = run(capsys, "capacitor", "--marking", "474K 275V~ X2")
    assert code == 0
    assert "  tolerance   ± 10 %: 423 nF to 517 nF (tolerance letters of IEC 60062, on code tables; read)\n" in out
    for name in ("charge", "discharge", "old-capacitor-oil", "old-capacitor-date"):
        assert CAUTIONS[name] in err


@pytest.mark.parametrize(("new", "code", "word"), [("474K 310V~ X1", 0, "  fits"), ("474K 310V~", 1, "  does not fit")])
def test_a_part_that_may_stand_in_or_not(capsys, new, code, word):
    left, out, _ = run(capsys, "capacitor", "--marking", "474K 275V~ X2", "--instead", new)
    assert (left, word in out.splitlines()) == (code, True)


def test_a_capacitor_as_json(capsys):
    _, out, err = run(capsys, "capacitor", "--marking", "2A474J", "--measured", "480 nF", "--json")
    answer = json.loads(out)
    reading = answer["readings"][0]
    assert (reading["value"], reading["unit"], reading["voltage_V"], reading["mode"]) == (4.7e-7, "farad", 100.0, "dc")
    assert (reading["tolerance"]["text"], reading["measured_in_band"]) == ("± 5 %", True)
    assert answer["replacement"]["preferred"] == [4.7e-7]
    assert CAUTIONS["charge"] in answer["cautions"]
    assert err == ""


def test_the_measured_value_decides_the_direction(capsys):
    bands = ("--bands", "brown black black brown brown", "--json")
    assert json.loads(run(capsys, "resistor", *bands)[1])["readings"][0]["value"] == 1000.0
    measured = run(capsys, "resistor", *bands, "--measured", "111 ohm")[1]
    assert json.loads(measured)["readings"][0]["value"] == 110.0


def test_preferred_values_around_one(capsys):
    _, out, _ = run(capsys, "preferred", "4.9 kohm", "--series", "E24", "--json")
    answer = json.loads(out)
    assert (answer["below"], answer["above"], answer["nearest"], answer["unit"]) == (4700.0, 5100.0, 5100.0, "ohm")


def test_a_series_is_listed(capsys):
    assert run(capsys, "preferred", "--series", "E6")[1] == "1.00 1.50 2.20 3.30 4.70 6.80\n"


WRONG = [
    (("resistor",), 2, 'Error: give --marking "4K7J" or --bands "yellow violet red gold"'),
    (("preferred",), 2, 'Error: give a value such as "4.9 kohm", or --series E12'),
    (("preferred", "-3 ohm"), 2, "Error: No such option '-3'."),
    (("preferred", "0 ohm"), 2, "a part's value is above zero, not 0 ohm"),
    (("preferred", "3 kg"), 2, "expected a unit like ohm, saw 'kg' in '3 kg'"),
    (("capacitor", "--marking", "104", "--measured", "3 ohm"), 2, "expected a unit like farad, saw 'ohm' in '3 ohm'"),
    (("resistor", "--marking", "foo"), 2, "'foo' is no resistor marking known here"),
]


@pytest.mark.parametrize(("args", "code", "words"), WRONG)
def test_what_cannot_be_read(capsys, args, code, words):
    left, out, err = run(capsys, *args)
    assert (left, out) == (code, "")
    assert words in err


@pytest.mark.parametrize(
    ("kind", "printed", "measured", "code"),
    [
        ("capacitor", "474K", "0,47 uF", 0),
        ("capacitor", "474K", "0.3 uF", 1),
        ("resistor", "4K7J", "4.68 kOhm", 0),
        ("resistor", "4K7J", "5.2 kohm", 1),
    ],
)
def test_a_measured_value_outside_the_band_answers_no(capsys, kind, printed, measured, code):
    left, out, _ = run(capsys, kind, "--marking", printed, "--measured", measured)
    where = "outside" if code else "in"
    assert (left, f", {where} the band by plain comparison" in out) == (code, True)


def test_a_slip_of_a_prefix_is_asked_about(capsys):
    left, _, err = run(capsys, "capacitor", "--marking", "0.95 uF", "--measured", "0.95 F")
    assert (left, err.splitlines()[0]) == (2, "950 mF is beyond any appliance: did you mean 0.95 uF?")
