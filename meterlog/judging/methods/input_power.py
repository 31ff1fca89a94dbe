"""Input power against the rating plate, at the mains voltage that was there while it was read.

What heats takes power with the square of the voltage: the reading is brought to the rated voltage and
says so. A motor, and a transformer near saturation, do not follow the square: theirs is compared as it
was read, and that is said too.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import nominal
from meterlog.base.units import show
from meterlog.judging.bands import band
from meterlog.judging.formula import derive, exactly
from meterlog.judging.method import GIVEN, WORD, Input, Method

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.judging.result import Result

CLAUSE = "IEC 60335-1 clause 10.1, table 1"
KINDS = ("heating", "motor")
NEAR = 0.06
"""Part by which the mains may lie off the rated voltage before the comparison is doubted. Source: the 1.06 × rated
voltage that the same standard's leakage test uses (from memory)."""


def deviation(rated: float, kind: str) -> tuple[float, float]:
    """Least and largest input power of an appliance, W, at its rated voltage and in normal operation.

    Args:
        rated: from the plate, W, > 0.
        kind: "heating" (and heating combined with a motor) or "motor".

    Source: IEC 60335-1 clause 10.1, table 1 (from memory; not opened).

    >>> deviation(2000.0, "heating"), deviation(300.0, "heating"), deviation(100.0, "heating")
    ((1800.0, 2100.0), (270.0, 320.0), (90.0, 110.0))
    >>> deviation(500.0, "motor"), deviation(350.0, "motor"), deviation(100.0, "motor"), deviation(20.0, "heating")
    ((0.0, 575.0), (0.0, 410.0), (0.0, 120.0), (0.0, 24.0))
    """
    if rated <= 25.0:
        return 0.0, 1.2 * rated
    if kind == "motor":
        return 0.0, rated + (0.2 * rated if rated <= 300.0 else max(0.15 * rated, 60.0))
    return 0.9 * rated, rated + (0.1 * rated if rated <= 200.0 else max(0.05 * rated, 20.0))


def at_rated_voltage(power: Any, voltage: Any, rated: Any) -> Any:
    """Power of a resistive load at its rated voltage, from that at another, W: P (U rated/U)².

    >>> round(at_rated_voltage(1822.0, 220.0, 230.0), 1)
    1991.4
    """
    return power * (rated / voltage) ** 2


def plate_band(rated: Sequence[float], voltages: Sequence[float], kind: str) -> tuple[float, float]:
    """Least and largest input power, W, at the middle of the plate's voltages.

    Args:
        rated, voltages: the ends that the plate prints, W and V, equal where it prints one value; two ranges
            go together end by end ("220-240 V 1850-2200 W" is one element).

    >>> [round(end) for end in plate_band((1850.0, 2200.0), (220.0, 240.0), "heating")]
    [1818, 2123]
    >>> plate_band((1850.0, 2200.0), (220.0, 240.0), "motor")
    (0.0, 2530.0)
    """
    if kind == "motor":
        return deviation(max(rated), kind)
    middle = sum(voltages) / len(voltages)
    are_ranges = rated[0] != rated[1] and voltages[0] != voltages[1]
    pairs = zip(rated, voltages, strict=True) if are_ranges else product(rated, voltages)
    powers = [at_rated_voltage(power, volts, middle) for power, volts in pairs]
    return deviation(min(powers), kind)[0], deviation(max(powers), kind)[1]


def _ends(given: Result) -> tuple[float, float]:
    """The ends of what a plate prints; a range is a rectangle."""
    middle, half = nominal(given.number), given.u * 3.0**0.5
    return middle - half, middle + half


def input_power(
    power: Result, rated: Result, kind: str, voltage: Result | None = None, rated_voltage: Result | None = None
) -> Result:
    """Input power with the band that the plate allows; of what heats, brought to the rated voltage."""
    plate_power = show(nominal(rated.number), "watt")
    if voltage is None or rated_voltage is None or voltage.number is None:
        low, high = plate_band(_ends(rated), (1.0, 1.0), kind)
        told = ["The mains voltage was not measured meanwhile: what heats takes 10 % less at 5 % less voltage."]
        result = power
    else:
        low, high = plate_band(_ends(rated), _ends(rated_voltage), kind)
        there, plate = nominal(voltage.number), nominal(rated_voltage.number)
        lowest, highest = _ends(rated_voltage)
        told = []
        if not (1.0 - NEAR) * lowest <= there <= (1.0 + NEAR) * highest:
            told.append(f"The mains was at {show(there, 'volt')}, for a plate of {show(plate, 'volt')}.")
        result, how = _compared(power, voltage, plate, kind)
        told.append(how)
    limit = band("power", low or None, high, f"{CLAUSE}, {kind} of {plate_power}", "memory")
    return replace(result, limit=limit, doubts=(*result.doubts, *told))


def _compared(power: Result, voltage: Result, plate: float, kind: str) -> tuple[Result, str]:
    """What is held against the plate, and how it came from what was read, a sentence."""
    there = show(nominal(voltage.number), "volt")
    if kind == "motor":
        return power, f"Compared as read, at {there}: a motor's input does not follow the square of the voltage."
    line = "brought to the rated voltage, for a resistive load: P (U rated/U)² = {0} × ({2}/{1})²"
    result = derive("power", at_rated_voltage, line, power, voltage, exactly(plate, "voltage"))
    return result, f"Read at {there} and brought to {show(plate, 'volt')} by the square, as of a resistive load."


METHODS = (
    Method(
        name="input power",
        title="Input power against the plate, at the mains voltage that was there.",
        gives="power",
        inputs={
            "power": Input("power", "as read"),
            "rated": Input("power", "from the plate", GIVEN),
            "kind": Input("", "what takes it: heating, or a motor", WORD, "heating", KINDS),
            "voltage": Input("voltage", "of the mains meanwhile", default=""),
            "rated voltage": Input("voltage", "from the plate", GIVEN, ""),
        },
        find=input_power,
    ),
)
