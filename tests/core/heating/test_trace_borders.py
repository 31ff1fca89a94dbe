"""What a logger's file may hold that no thermometer shows: told with its row, in a moment."""

import pytest

from meterlog.base.errors import WrongText
from meterlog.heating import read_trace

ROWS = "".join(f"{second},20\n" for second in range(6))
TOLD = [
    ("t_s/0,temperature_C\n" + ROWS, "t.csv:1:1"),
    ("t_s,temperature_C**9**9**9\n" + ROWS, "t.csv:1:1"),
    ("t_s," + "(" * 3000 + "temperature_C\n" + ROWS, "t.csv:1:1"),
    ("t_s,temperature_C\n" + ROWS + "6,1e999\n", "t.csv:8:1: temperature"),
    ("t_s,temperature_C\n" + ROWS + "1e308,20\n", "t.csv:8:1: time"),
    ("t_s,temperature_C,power_W\n" + "".join(f"{s},20,{'9' * 400}\n" for s in range(6)), "t.csv:2:1: power"),
]


@pytest.mark.parametrize(("text", "place"), TOLD, ids=range(len(TOLD)))
def test_it_is_told_with_its_row(text, place):
    with pytest.raises(WrongText) as caught:
        read_trace(text, "t.csv")
    assert str(caught.value).splitlines()[0] == place
