"""The CSV of a run: what headers are understood, and each mistake with its whole message."""

import pytest

from meterlog.base.errors import WrongText
from meterlog.heating import read_trace

ROWS = "\n0,20.1\n1,20.1\n2,20.2\n3,20.2\n4,20.3\n"

HEADERS = [  # header, first temperature K and second time s of the rows above
    ("t_s,temperature_C", 293.25, 1.0),
    ("time (s),temp [°C]", 293.25, 1.0),
    ("t_min,T_C", 293.25, 60.0),
    ("elapsed_ms,temperature_degC", 293.25, 0.001),
    ("Time_s,Temp_c", 293.25, 1.0),
]


@pytest.mark.parametrize(("header", "kelvin", "second"), HEADERS)
def test_a_header_says_what_and_in_which_unit(header, kelvin, second):
    series = read_trace(header + ROWS, "run.csv").temperature
    assert series.values[0] == pytest.approx(kelvin)
    assert series.times[1] == pytest.approx(second)
    assert series.resolution == pytest.approx(0.1)


def test_semicolons_and_decimal_commas_are_read():
    text = (
        "\ufeff# bench two\nt_s;temperature_C;power_kW\n0,0;20,1;1,5\n0,5;20,1;1,5\n1;20,2;\n1,5;20,2;1,5\n2;20,3;1,5\n"
    )
    trace = read_trace(text, "run.csv")
    assert trace.temperature.times == (0.0, 0.5, 1.0, 1.5, 2.0)
    assert trace.power.values == (1500.0, 1500.0, 1500.0, 1500.0)


def test_a_display_of_sixteenths_has_its_own_step():
    text = "t_s,temperature_C\n" + "".join(f"{t},{20 + 0.0625 * t}\n" for t in range(6))
    assert read_trace(text, "run.csv").temperature.resolution == pytest.approx(0.0625)


def test_gaps_and_columns_left_aside_are_noted():
    text = "t_s,temperature_C,note\n0,20.1,\n1,20.1,\n2,,out\n3,,\n60,30.1,\n61,30.1,\n62,30.1,\n"
    assert read_trace(text, "run.csv").notes == (
        "column 'note' is left aside",
        "row 6: no temperature for 59 s (from 1 s)",
    )


TWO = [  # header, the second vessel's first temperature in K
    ("t_s,temperature_1_C,temperature_2_C", 292.25),
    ("t_s,T1_C,T2_C", 292.25),
    ("time (s),temp_1 [°C],Temp_2 [°C]", 292.25),
]


@pytest.mark.parametrize(("header", "kelvin"), TWO)
def test_two_vessels_have_a_column_each(header, kelvin):
    cells = "\n0,,19.1\n1,40.1,\n" + "".join(f"{t},4{t}.1,1{t}.1\n" for t in range(2, 7))
    trace = read_trace(header + cells, "run.csv")
    assert trace.second.values[0] == pytest.approx(kelvin)
    assert (trace.temperature.times, trace.second.times) == (
        (1.0, 2.0, 3.0, 4.0, 5.0, 6.0),
        (0.0, 2.0, 3.0, 4.0, 5.0, 6.0),
    )


def test_a_carried_thermometer_s_gaps_are_told_with_the_vessel():
    rows = "".join(f"{t},20.1,\n" for t in range(5)) + "".join(f"{t},,20.5\n" for t in range(5, 10)) + "20,,20.6\n"
    trace = read_trace("t_s,temperature_1_C,temperature_2_C\n" + rows, "run.csv")
    assert trace.notes == ("row 12: no temperature in the second vessel for 11 s (from 9 s)",)


def test_a_second_column_beside_one_without_a_number_is_left_aside():
    rows = "".join(f"\n{t},2{t}.1,9" for t in range(5))
    trace = read_trace("t_s,temperature_C,temperature_2_C" + rows, "run.csv")
    assert trace.second is None
    assert trace.temperature.values[0] == pytest.approx(293.25)
    assert trace.notes == (
        "column 'temperature_2_C' is left aside: of two vessels, the columns are temperature_1_C,temperature_2_C",
    )


WRONG = [
    ("t_s,temperature_C\n0,20.1\n1,20,1\n2,20.2\n3,20.2\n4,20.3\n5,20.3,\n",
     "run.csv:3:6\n  expected  at most 2 cells, as in the header\n  saw       3\n"
     "  hint      write decimals with a point, or separate columns with semicolons"),
    ("t_s,temperature_C,temp_F" + ROWS,
     "run.csv:1:19\n  expected  one column of temperature\n  saw       temperature_C and temp_F\n"
     "  hint      leave the one that was in the load, and give the other a name of its own"),
    ("t_s,temperature_1_C,temperature_2_C\n" + "".join(f"{t},20.1,{'20' if t < 4 else ''}\n" for t in range(6)),
     "run.csv:7:1\n  expected  at least five readings\n  saw       4"),
    ("t_s,temperature_1_C,temperature_2_V\n", "run.csv:1:1\n"
     "  expected  a unit of second temperature in the name of column 'temperature_2_V'\n"
     "  saw       V\n  hint      such as t_s,temperature_C,power_W"),
    ("", "run.csv:1:1\n  expected  a header such as t_s,temperature_C,power_W, then rows\n  saw       an empty file"),
    ("t,temperature_C" + ROWS, "run.csv:1:1\n  expected  a unit in the name of column 't'\n  saw       none\n"
     "  hint      name the unit too, as in t_s,temperature_C,power_W"),
    ("t_s,temperature_V" + ROWS,
     "run.csv:1:1\n  expected  a unit of temperature in the name of column 'temperature_V'\n"
     "  saw       V\n  hint      such as t_s,temperature_C,power_W"),
    ("t_s,water" + ROWS, "run.csv:1:1\n  expected  a header with temperature, such as t_s,temperature_C,power_W\n"
     "  saw       t_s, water"),
    ("0,20.1" + ROWS, "run.csv:1:1\n  expected  a header with time and temperature, such as t_s,temperature_C,power_W\n"
     "  saw       0, 20.1"),
    ("t_s,temperature_C\n0,20\n1,20\n", "run.csv:3:1\n  expected  at least five readings\n  saw       2"),
    ("t_s,temperature_C\n0,20\n1,20\n0.5,20\n2,ab\n3,293\n4,20\n",
     "run.csv:4:1: time\n  expected  a time that goes forward\n  saw       0.5 s after 1 s of row 3\n"
     "run.csv:5:1: temperature\n  expected  a number, or nothing where there was no reading\n  saw       ab\n"
     "run.csv:6:1: temperature\n  expected  the temperature of liquid water or of a room\n  saw       293 °C\n"
     "  hint      is the unit really °C? Leave the cell empty where the probe gave no reading"),
    ("t_s,temperature_C,power_W\n0,20,1e999\n1,1e308,1e9\n1e99,20,1\n2,20,1\n3,20,1\n4,20,1\n",
     "run.csv:2:1: power\n  expected  a number, or nothing where there was no reading\n  saw       1e999\n"
     "run.csv:3:1: temperature\n  expected  a number, or nothing where there was no reading\n  saw       1e308\n"
     "run.csv:3:1: power\n  expected  a power of at most 100 kW\n  saw       1e9 W\n"
     "  hint      is the unit really W?\n"
     "run.csv:4:1: time\n  expected  a time of at most four months, s\n  saw       1e99 s\n"
     "  hint      is the unit really s?"),
    ("t_s/0,temperature_C" + ROWS, "run.csv:1:1\n  expected  a unit of time in the name of column 't_s/0'\n"
     "  saw       s/0\n  hint      such as t_s,temperature_C,power_W"),
    ("t_s,temperature_C**9**9**9" + ROWS, "run.csv:1:1\n"
     "  expected  a unit of temperature in the name of column 'temperature_C**9**9**9'\n"
     "  saw       C**9**9**9\n  hint      such as t_s,temperature_C,power_W"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "message"), WRONG, ids=range(len(WRONG)))
def test_what_is_wrong_is_told_with_its_row(text, message):
    with pytest.raises(WrongText) as raised:
        read_trace(text, "run.csv")
    assert str(raised.value) == message
