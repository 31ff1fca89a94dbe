"""Tables worked out outside this project (tests/checks/arithmetic.csv), each row through our functions."""

import math

import pytest
from check_tables import rows

from meterlog.base.uncertainty import Error, estimate, rectangle
from meterlog.base.units import si_factor
from meterlog.judging import judge, parse_accuracy
from meterlog.judging.formula import exactly
from meterlog.judging.limit import Limit
from meterlog.judging.methods import (
    capacitance,
    discharge,
    element,
    input_power,
    insulation,
    leakage,
    loading,
    protective_conductor,
    resistance,
    thermistor,
    winding,
)
from meterlog.judging.methods.ratio import over
from meterlog.judging.result import Result
from meterlog.judging.written import measured_value

K = 273.15


def given(row):
    pairs = [part.partition("=") for part in row["inputs"].split(";") if part]
    return {key: number(text) for key, _, text in pairs}


def number(text):
    try:
        return float(text)
    except ValueError:
        return text


def band(i):
    parts = (exactly(i["P"], "power"), exactly(i["U"], "voltage"), exactly(1.0, "ratio"))
    return element.element_band(exactly(1.0, "resistance"), *parts).limit


def specified(i):
    accuracy = parse_accuracy(i["accuracy"])
    found = measured_value(i["shown"], i["quantity"], accuracy=accuracy, resolution=i["resolution"])
    return found.u / si_factor(i["shown"].split()[1])[0]


def earth_path():
    readings = Error(
        name="repeats", standard_uncertainty=0.005 / math.sqrt(5), distribution="readings", degrees_of_freedom=4
    )
    return Result(
        quantity="resistance",
        number=estimate(0.34, rectangle("accuracy", 0.0334), rectangle("null left", 0.02), readings),
    )


def earth_path_p(i):
    limit = Limit(low=None, high=i["H"], unit="ohm", text="", source="check")
    return judge(earth_path(), limit).probability


def rise(i):
    return winding.temperature_rise(i["cold"], i["hot"], i["start"] + K, i["ambient"] + K, i["metal"])


def conductor_class(i):
    return f"{i.get('class', 5):g}"


LAWS = insulation.LAWS
FIND = {
    "rise": rise,
    "winding temperature": lambda i: winding.temperature_from(i["cold"], i["hot"], i["start"] + K, i["metal"]) - K,
    "coefficient": lambda i: winding.coefficient(i["k"], i["t"] + K),
    "resistance at": lambda i: winding.resistance_at(i["R"], i["t"] + K, i["to"] + K, i["k"]),
    "thermistor": lambda i: i["R25"] / thermistor.reduced(1.0, i["t"] + K, i["B"]),
    "earth by length": lambda i: protective_conductor.limit_by_length(i["L"], i["A"], conductor_class(i)),
    "most of a conductor": lambda i: protective_conductor.most_resistance(i["L"], i["A"], conductor_class(i)),
    "least input": lambda i: input_power.deviation(i["P"], i["kind"])[0],
    "most input": lambda i: input_power.deviation(i["P"], i["kind"])[1],
    "at rated voltage": lambda i: input_power.at_rated_voltage(i["P"], i["U"], i["Un"]),
    "peak": lambda i: discharge.peak(i["U"]),
    "earth by cord": lambda i: protective_conductor.limit_by_cord(i["L"], i["A"]),
    "copper": lambda i: 1e3 * resistance.conductor_resistance(i["L"], i["A"] * 1e-6),
    "to 40 degC": lambda i: LAWS[i["law"]](1.0, i["t"] + K, 40 + K),
    "index of absorption": lambda i: over(i["early"] ** i["n"], i["late"] ** i["n"]),
    "ratio": lambda i: over(i["below"], i["above"]),
    "discharge time": lambda i: discharge.discharge_time(i["C"], i["R"], i["V0"], i["Vs"]),
    "voltage left": lambda i: discharge.voltage_left(i["C"], i["R"], i["V0"], i["t"]),
    "energy": lambda i: discharge.stored_energy(i["C"], i["V"]),
    "loading": lambda i: 100 * loading.loading_error(i["R"], i["Rm"]),
    "divider": lambda i: loading.loaded_divider(i["V"], i["R1"], i["R2"], i["Rm"]),
    "constant current": lambda i: 1e6 * capacitance.charging_capacitance(i["C"], i["R"], i["I"], i["V1"], i["V2"]),
    "capacitive current": lambda i: 1e3 * leakage.capacitive_current(i["C"], i["U"], i["f"]),
    "element": lambda i: element.cold_resistance(i["U"], i["P"]),
    "element band low": lambda i: band(i).low,
    "element band high": lambda i: band(i).high,
    "in parallel": lambda i: discharge.bleeder(i["shown"], i["leak"]),
    "from a specification": specified,
    "earth path u": lambda i: earth_path().u,
    "earth path p": earth_path_p,
}


@pytest.mark.parametrize("row", rows("arithmetic.csv"))
def test_arithmetic(row):
    found = FIND[row["function"]](given(row))
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


def test_a_leak_that_takes_all_the_current_never_gets_there():
    with pytest.raises(ValueError, match="the leak takes all the current before the end voltage is reached"):
        capacitance.charging_capacitance(1e-6, 59e3, 10e-6, 0.1, 0.6)
