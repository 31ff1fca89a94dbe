"""Capacitance: what a meter shows when the part leaks or has series resistance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import log, nominal
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, Input, Method

if TYPE_CHECKING:
    from meterlog.judging.result import Result


def charging_capacitance(capacitance: Any, leak: Any, current: Any, start: Any, end: Any) -> Any:
    """What a meter shows that times a constant current from one voltage to another, with a leak in parallel, F.

    C_app = −(R C I/ΔV) ln[(I R − V2)/(I R − V1)]. A leaky part reads high. Raises: ValueError, when
    the leak takes all the current before V2 is reached (the meter shows overload).
    """
    drive = current * leak
    if nominal(drive) <= nominal(end):
        raise ValueError("the leak takes all the current before the end voltage is reached")
    return -(leak * capacitance * current / (end - start)) * log((drive - end) / (drive - start))


def leaky(shown: Result, leak: Result, frequency: Result) -> Result:
    """The capacitance behind what a meter in series mode shows of a part with a leak or bleeder in parallel.

    The larger root of C + 1/((2π f R)² C) = shown, the one that a meter's useful range has.
    """
    line = "C = (Cs + √(Cs² − 4/(2π f R)²))/2, Cs = {0}, R = {1}, f = {2}"
    return derive("capacitance", _behind_leak, line, shown, leak, frequency)


def charged(shown: Result, leak: Result, current: Result, start: Result, end: Result) -> Result:
    """The capacitance behind what a meter shows that times a constant current, with a leak in parallel."""
    line = "C = {0}/f, f = −(R I/ΔV) ln[(I R − V2)/(I R − V1)], R = {1}, I = {2}, V {3} to {4}"
    return derive("capacitance", _behind_charging, line, shown, leak, current, start, end)


def _behind_charging(shown: Any, leak: Any, current: Any, start: Any, end: Any) -> Any:
    return shown / charging_capacitance(1.0, leak, current, start, end)


def _behind_leak(shown: Any, leak: Any, frequency: Any) -> Any:
    square = shown * shown - 4.0 / (2.0 * math.pi * frequency * leak) ** 2
    if nominal(square) < 0:
        raise ValueError("the leak is too strong for this frequency")
    return (shown + square**0.5) / 2.0


METHODS = (
    Method(
        name="capacitance by charging",
        title="Capacitance behind the reading of a constant-current meter, with a leak or bleeder in parallel.",
        gives="capacitance",
        inputs={
            "shown": Input("capacitance", "as the meter shows it"),
            "leak": Input("resistance", "in parallel"),
            "current": Input("current", "that the meter charges with", GIVEN, "10 uA"),
            "start": Input("voltage", "from which it times", GIVEN, "0.1 V"),
            "end": Input("voltage", "to which it times", GIVEN, "0.6 V"),
        },
        find=charged,
    ),
    Method(
        name="capacitance behind a leak",
        title="Capacitance behind the reading of a series-mode meter, with a leak or bleeder in parallel.",
        gives="capacitance",
        inputs={
            "shown": Input("capacitance", "as the meter shows it"),
            "leak": Input("resistance", "in parallel"),
            "frequency": Input("frequency", "that the meter uses", GIVEN, "100 Hz"),
        },
        find=leaky,
    ),
)
