"""Thermistors of negative coefficient: R = R25 exp(B (1/T − 1/298.15)).

One kelvin is 4 to 4.6 % at 25 °C, so the part's own temperature is measured first.
Source: IEC 60539-1 (memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import exp, log, nominal
from meterlog.judging.bands import band
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, Input, Method

if TYPE_CHECKING:
    from meterlog.judging.result import Result

T25 = 298.15


def temperature_of(resistance: Any, at_25: Any, b: Any) -> Any:
    """Temperature at which it has a resistance, K."""
    return 1.0 / (1.0 / T25 + log(resistance / at_25) / b)


def reduced(resistance: Any, temperature: Any, b: Any) -> Any:
    """Its resistance at 25 °C, from that at another temperature, ohm."""
    return resistance * exp(-b * (1.0 / temperature - 1.0 / T25))


def thermistor_temperature(resistance: Result, at_25: Result, b: Result) -> Result:
    """The temperature that a thermistor tells."""
    line = "T = 1/(1/298.15 + ln(R/R25)/B) = 1/(1/298.15 + ln({0}/{1})/{2})"
    return derive("temperature", temperature_of, line, resistance, at_25, b)


def thermistor_at_25(resistance: Result, temperature: Result, at_25: Result, b: Result, tolerance: Result) -> Result:
    """A thermistor's resistance brought to 25 °C, against its nominal one."""
    line = "R25 = R exp(−B (1/T − 1/298.15)) = {0} × exp(−{2} × (1/{1} − 1/298.15))"
    result = derive("resistance", reduced, line, resistance, temperature, b)
    part, full = nominal(tolerance.number), nominal(at_25.number)
    return replace(result, limit=band("resistance", full * (1 - part), full * (1 + part), "rating of the part"))


_R25 = Input("resistance", "at 25 °C, rated", GIVEN)
_B = Input("temperature_difference", "its B value", GIVEN)
METHODS = (
    Method(
        name="thermistor temperature",
        title="Temperature that a thermistor tells.",
        gives="temperature",
        inputs={"resistance": Input("resistance", "of the thermistor"), "at 25": _R25, "b": _B},
        find=thermistor_temperature,
    ),
    Method(
        name="thermistor at 25",
        title="Resistance of a thermistor brought to 25 °C, against its rating.",
        gives="resistance",
        inputs={
            "resistance": Input("resistance", "of the thermistor"),
            "temperature": Input("temperature", "of the thermistor"),
            "at 25": _R25,
            "b": _B,
            "tolerance": Input("ratio", "of the rated value", GIVEN, "10 %"),
        },
        find=thermistor_at_25,
    ),
)
