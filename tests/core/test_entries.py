"""What is entered for a job: read with its unit, or words, or refused at the door."""

import pytest

from meterlog.base.errors import WrongValue
from meterlog.procedure.entries import check_entries, entry_value, entry_values
from meterlog.procedure.steps import Procedure

ASKS = Procedure(
    key="oven",
    title="Oven",
    appliance="oven",
    source="a test",
    cautions=(),
    steps=(),
    plate={"rated output": "power"},
    asked={"water mass": "mass", "vessel": "words", "turns ratio": "ratio"},
)
VALUES = [
    ("900 W", "power", 900.0),
    ("0.9 kW", "power", 900.0),
    ("1000 g ± 2 g", "mass", 1.0),
    ("12", "ratio", 12.0),
    ("5 %", "ratio", 0.05),
    ("340 g glass", "words", None),
]


@pytest.mark.parametrize(("text", "kind", "value"), VALUES)
def test_an_entry_has_a_value_or_is_words(text, kind, value):
    assert entry_value(text, kind) == value


def test_an_entry_that_cannot_be_read_counts_as_not_entered():
    told = {"rated output": "much", "water mass": "1 kg", "vessel": "glass"}
    assert entry_values(ASKS.entries, told) == {"water mass": 1.0}


REFUSED = [
    ({"rated outpt": "900 W"}, "oven asks for no 'rated outpt'\n  did you mean 'rated output'?"),
    ({"rated output": "900"}, "rated output: write a number and its unit, such as \"0.42 ohm\", not '900'"),
    ({"rated output": "900 V"}, "rated output: expected a unit like watt, saw 'V' in '900 V'"),
    ({"rated output": "-900 W"}, "rated output: write more than nothing, not '-900 W'"),
    ({"water mass": "0 g"}, "water mass: write more than nothing, not '0 g'"),
]


@pytest.mark.parametrize(("told", "message"), REFUSED)
def test_the_door_refuses(told, message):
    with pytest.raises(WrongValue) as caught:
        check_entries(ASKS, told)
    assert str(caught.value) == message


def test_the_door_lets_in():
    check_entries(ASKS, {"rated output": "900 W", "vessel": "340 g glass", "water mass": "1000 g ± 2 g"})
