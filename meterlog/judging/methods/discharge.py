"""Stored charge: the bleeder, the time to a safe voltage, what is left after a time.

No waiting time proves a discharge, because a bleeder may be open: wait, discharge, measure the
voltage, leave a link on. Voltage creeps back.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from meterlog.base.uncertainty import exp, log
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, Input, Method
from meterlog.judging.result import Result, nothing

PROMISE = "A bleeder may be open: the time is a promise, the measured voltage is the proof."


def discharge_time(capacitance: Any, resistance: Any, start: Any, safe: Any) -> Any:
    """Time until the voltage has fallen to a safe one, s: R C ln(V0/Vs).

    >>> round(discharge_time(470e-6, 100e3, 400.0, 50.0), 4)
    97.7338
    """
    return resistance * capacitance * log(start / safe)


def voltage_left(capacitance: Any, resistance: Any, start: Any, time: Any) -> Any:
    """Voltage after a time, V: V0 e^(−t/RC).

    >>> round(voltage_left(0.47e-6, 1e6, 325.27, 1.0), 4)
    38.7448
    """
    return start * exp(-time / (resistance * capacitance))


def peak(voltage: Any) -> Any:
    """Peak of a sine of that root-mean-square voltage, V.

    >>> round(peak(230.0), 2)
    325.27
    """
    return math.sqrt(2.0) * voltage


def stored_energy(capacitance: Any, voltage: Any) -> Any:
    """Energy held, J: ½ C V².

    >>> round(stored_energy(1e-6, 2970.0), 2)
    4.41
    """
    return capacitance * voltage * voltage / 2.0


def bleeder(shown: Any, leak: Any) -> Any:
    """A bleeder behind the reading of it with a known leak in parallel, ohm: 1/(1/R − 1/R_leak)."""
    return 1.0 / (1.0 / shown - 1.0 / leak)


def time_to_safe(capacitance: Result, bleeder: Result, start: Result, safe: Result) -> Result:
    """How long a capacitor takes to reach a safe voltage through its bleeder."""
    line = "t = R C ln(V0/Vs) = {1} × {0} × ln({2}/{3})"
    result = derive("time", discharge_time, line, capacitance, bleeder, start, safe)
    return replace(result, doubts=(*result.doubts, PROMISE))


def left_after(
    capacitance: Result, bleeder: Result, time: Result, start: Result | None = None, mains: Result | None = None
) -> Result:
    """The voltage that is left after a time, from a voltage to begin with, or from the peak of the mains."""
    if start is None and mains is not None:
        start = derive("voltage", peak, "V0 = √2 × U = √2 × {0}", mains)
    if start is None:
        return nothing("voltage", "Neither the voltage to begin with nor the mains voltage was given.")
    line = "V = V0 e^(−t/RC) = {2} × e^(−{3}/({1} × {0}))"
    result = derive("voltage", voltage_left, line, capacitance, bleeder, start, time)
    return replace(result, doubts=(*result.doubts, PROMISE))


def energy(capacitance: Result, voltage: Result) -> Result:
    """The energy that a capacitor holds."""
    return derive("energy", stored_energy, "E = C V²/2 = {0} × {1}²/2", capacitance, voltage)


def bleeder_alone(shown: Result, leak: Result) -> Result:
    """The bleeder alone, when the meter (or anything known) lay in parallel."""
    return derive("resistance", bleeder, "R = 1/(1/{0} − 1/{1})", shown, leak)


_C = Input("capacitance", "of the part")
_R = Input("resistance", "of the bleeder, settled")
METHODS = (
    Method(
        name="discharge time",
        title="Time for a capacitor to reach a safe voltage through its bleeder.",
        gives="time",
        inputs={
            "capacitance": _C,
            "bleeder": _R,
            "start": Input("voltage", "peak to begin with", GIVEN),
            "safe": Input("voltage", "safe voltage", GIVEN, "34 V"),
        },
        find=time_to_safe,
    ),
    Method(
        name="voltage left",
        title="Voltage left on a capacitor after a time.",
        gives="voltage",
        inputs={
            "capacitance": _C,
            "bleeder": _R,
            "time": Input("time", "since unplugging", GIVEN, "1 s"),
            "start": Input("voltage", "to begin with", GIVEN, ""),
            "mains": Input("voltage", "of the mains, whose peak it begins with where start is left out", GIVEN, ""),
        },
        find=left_after,
    ),
    Method(
        name="stored energy",
        title="Energy that a capacitor holds.",
        gives="energy",
        inputs={"capacitance": _C, "voltage": Input("voltage", "on it", GIVEN)},
        find=energy,
    ),
    Method(
        name="bleeder",
        title="A bleeder alone, behind a reading with a known resistance in parallel.",
        gives="resistance",
        inputs={
            "shown": Input("resistance", "settled reading"),
            "leak": Input("resistance", "known, in parallel with it", GIVEN),
        },
        find=bleeder_alone,
    ),
)
