"""Insulation resistance: to a reference temperature, and how it rises while the voltage stays on.

Readings beyond the range stay bounds throughout: a ratio of two may be a bound, or nothing.
Appliance motors lie outside the scope of the machine standard that the ratios come from: they are
orientation. Do not correct by default: print the raw value with temperature and humidity.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import exp, nominal
from meterlog.judging.bands import band
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, SERIES, WORD, Input, Method
from meterlog.judging.methods.ratio import quotient
from meterlog.judging.result import Result, nothing

if TYPE_CHECKING:
    from meterlog.judging.methods.series import ReadingSeries

ZERO_C = 273.15
WAIVED_OHM = 5e9
"""Above this one-minute resistance the ratio means nothing. Source: IEEE 43-2013 12.2.2 (read second-hand)."""

WAIVED = "The one-minute value is above 5 GΩ, where the ratio means nothing: the resistance itself decides."
WARM, COOL = 4230.0, 1245.0
"""B of the thermosetting law above and below 40 °C, K. Source: IEEE 43 (memory)."""


def halving(resistance: Any, temperature: Any, reference: Any) -> Any:
    """Brought to a reference temperature, halving per 10 K (thermoplastic): R 0.5^((t_ref − t)/10).

    Source: "halves per 10 K", a technical blog (read); the formula from memory.
    """
    return resistance * exp(-math.log(2.0) * (reference - temperature) / 10.0)


def thermosetting(resistance: Any, temperature: Any, reference: Any) -> Any:
    """Brought to a reference temperature by exp(−B(1/T − 1/T_ref)), B by the side of 40 °C, T = t/°C + 273.

    Source: two-branch form read second-hand, B from memory.
    """
    return resistance * exp(_exponent(reference) - _exponent(temperature))


def _exponent(temperature: Any) -> Any:
    t = temperature - ZERO_C + 273.0
    return (WARM if nominal(t) >= 313.0 else COOL) * (1.0 / t - 1.0 / 313.0)


LAWS = {"halving": halving, "thermosetting": thermosetting}


def at_temperature(resistance: Result, temperature: Result, reference: Result, law: str) -> Result:
    """Insulation resistance at the reference temperature; the law matters more than the meter."""
    line = f"{law} law: {{0}} at {{1}} K brought to {{2}} K"
    return derive("insulation_resistance", LAWS[law], line, resistance, temperature, reference)


def polarisation_index(
    run: ReadingSeries | None = None, minute: Result | None = None, ten: Result | None = None
) -> Result:
    """R at ten minutes over R at one minute, from a logged run or from two readings."""
    return _ratio_in_time(run, minute, ten, 60.0, 600.0)


def absorption_ratio(
    early: Result, run: ReadingSeries | None = None, half: Result | None = None, minute: Result | None = None
) -> Result:
    """R at one minute over R at 30 s (or another early time), from a logged run or from two readings."""
    return _ratio_in_time(run, half, minute, nominal(early.number), 60.0)


def _ratio_in_time(
    run: ReadingSeries | None, first: Result | None, second: Result | None, t1: float, t2: float
) -> Result:
    if run is not None:
        first, second = run.at(t1, tolerance=1.5), run.at(t2, tolerance=1.5)
    if first is None or second is None:
        missing = f"{t1:g} s" if first is None else f"{t2:g} s"
        return nothing("ratio", f"There is no reading at {missing}.", advice="Leave the voltage on, and log it whole.")
    result = quotient(second, first)
    if first.number is not None and first.bound != "below" and nominal(first.number) > WAIVED_OHM:
        return replace(result, doubts=(*result.doubts, WAIVED))
    return result


def lowest_before_1970(rated_voltage: Any) -> Any:
    """One-minute minimum of windings before 1970 at 40 °C, ohm: kV + 1 megohm.

    Source: IEEE 43 in a trade quiz (read second-hand).
    """
    return (rated_voltage / 1000.0 + 1.0) * 1e6


def winding_minimum(resistance: Result, rated_voltage: Result) -> Result:
    """The one-minute resistance at 40 °C against kV + 1 megohm."""
    lowest = nominal(lowest_before_1970(rated_voltage.number))
    limit = band(
        "insulation_resistance", lowest, None, "kV + 1 Mohm: IEEE 43, windings before 1970", "read second-hand"
    )
    line = f"minimum: {nominal(rated_voltage.number) / 1000:.4g} kV + 1 = {lowest / 1e6:.4g} Mohm"
    return replace(resistance, limit=limit, trail=(*resistance.trail, line))


LOWEST_OHM = {("I", "no"): 1e6, ("I", "yes"): 0.3e6, ("II", "no"): 2e6, ("II", "yes"): 2e6,
              ("III", "no"): 0.25e6, ("III", "yes"): 0.25e6}  # fmt: skip
"""Least insulation resistance at 500 V DC (class III 250 V), ohm, by protection class and whether it has heating
elements, which are switched on. Source: instrument makers' pages on DIN VDE 0701-0702:2008 and the text of 2000 (read
second-hand); whether EN 50678:2020 prints the same was not seen."""


def insulation_by_class(resistance: Result, protection_class: str, heating: str) -> Result:
    """Insulation resistance against what its protection class asks for."""
    what = f"class {protection_class}{', with heating elements' if heating == 'yes' else ''}"
    source = f"{what}: makers' pages on DIN VDE 0701-0702:2008; the local code rules"
    limit = band("insulation_resistance", LOWEST_OHM[protection_class, heating], None, source, "read second-hand")
    return replace(resistance, limit=limit, trail=(*resistance.trail, f"limit for {what}: {limit.text}"))


METHODS = (
    Method(
        name="insulation by class",
        title="Insulation resistance against what its protection class asks for.",
        gives="insulation_resistance",
        inputs={
            "resistance": Input("insulation_resistance", "line and neutral joined, to metal that can be touched"),
            "protection class": Input("", "of the appliance", WORD, None, ("I", "II", "III")),
            "heating": Input("", "whether it has heating elements, switched on", WORD, "no", ("no", "yes")),
        },
        find=insulation_by_class,
    ),
    Method(
        name="insulation at temperature",
        title="Insulation resistance brought to a reference temperature.",
        gives="insulation_resistance",
        inputs={
            "resistance": Input("insulation_resistance", "at one minute"),
            "temperature": Input("temperature", "of the insulation"),
            "reference": Input("temperature", "to which it is brought", GIVEN, "40 degC"),
            "law": Input("", "how it falls with temperature", WORD, "halving", ("halving", "thermosetting")),
        },
        find=at_temperature,
    ),
    Method(
        name="polarisation index",
        title="Insulation resistance at ten minutes over that at one.",
        gives="ratio",
        inputs={
            "run": Input("insulation_resistance", "the whole run, logged", SERIES, ""),
            "minute": Input("insulation_resistance", "at one minute", default=""),
            "ten": Input("insulation_resistance", "at ten minutes", default=""),
        },
        find=polarisation_index,
    ),
    Method(
        name="absorption ratio",
        title="Insulation resistance at one minute over that at half a minute.",
        gives="ratio",
        inputs={
            "run": Input("insulation_resistance", "the whole run, logged", SERIES, ""),
            "half": Input("insulation_resistance", "at the early time", default=""),
            "minute": Input("insulation_resistance", "at one minute", default=""),
            "early": Input("time", "the early time", GIVEN, "30 s"),
        },
        find=absorption_ratio,
    ),
    Method(
        name="winding minimum",
        title="One-minute insulation of a winding against kV + 1 Mohm.",
        gives="insulation_resistance",
        inputs={
            "resistance": Input("insulation_resistance", "at one minute, brought to 40 degC"),
            "rated voltage": Input("voltage", "of the winding", GIVEN),
        },
        find=winding_minimum,
    ),
)
