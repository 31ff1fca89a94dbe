"""Diodes: one junction or several in series, both directions.

Forward drop by the kind, common practice, no source: silicon 0.5 to 0.8 V, Schottky 0.15 to 0.4,
light-emitting 1.6 to 3.3; silicon junctions in series 0.3 to 1.0 V each, by current. A stack whose
drop exceeds what the meter supplies reads open although it is good: only a short is certain.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from meterlog.base.uncertainty import nominal
from meterlog.judging.bands import band
from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, WORD, Input, Method
from meterlog.judging.result import Result, doubts, nothing, trails

DROPS = {"silicon": (0.5, 0.8), "schottky": (0.15, 0.4), "light": (1.6, 3.3), "stack": (0.3, 1.0)}
"""Forward drop of one junction, V: lowest, highest. Common practice, no source."""

SHORT_V = 0.05
"""A drop below this in a direction is a short, V. Common practice, no source."""


def per_junction(drop: Any, junctions: Any) -> Any:
    """Mean forward drop of each junction, V."""
    return drop / junctions


def forward_drop(forward: Result, junctions: Result, kind: str) -> Result:
    """The mean drop of each of several junctions in series, against what its kind drops."""
    if forward.bound == "above":
        return _reads_open(forward, nominal(junctions.number) * DROPS[kind][1], "The junctions")
    result = derive("junction_voltage", per_junction, "each of {1} junctions: {0}/{1}", forward, junctions)
    return replace(result, limit=_sound(kind))


def both_ways(forward: Result, reverse: Result, junctions: Result, kind: str) -> Result:
    """The forward drop of a diode that must block the other way.

    Low both ways is a short; a drop one way and open the other is sound; open both ways is open
    only when the meter supplies more than the junctions drop.
    """
    quantity, both = "junction_voltage", (forward, reverse)
    if forward.number is None or reverse.number is None:
        return nothing(quantity, forward.reason or reverse.reason, *both)
    if not reverse.bound and not forward.bound and max(nominal(forward.number), nominal(reverse.number)) < SHORT_V:
        line = f"{forward} one way and {reverse} the other: a short"
        return replace(forward, limit=_sound(kind), trail=(*trails(both), line), doubts=doubts(both))
    if forward.bound == "above" and reverse.bound == "above":
        return _reads_open(forward, nominal(junctions.number) * DROPS[kind][1], "Both directions")
    result = forward_drop(forward, junctions, kind)
    if reverse.bound == "above":
        return replace(result, trail=(*result.trail, f"the other way: {reverse}, it blocks"))
    line = f"the other way: {reverse}, where it should block"
    leaks = Result(quantity=quantity, number=reverse.number, trail=(*result.trail, *reverse.trail, line))
    return replace(leaks, limit=band(quantity, nominal(junctions.number) * DROPS["stack"][1], None, "it must block"))


def _sound(kind: str) -> Any:
    low, high = DROPS[kind]
    return band("junction_voltage", low, high, f"{kind} junction", "common practice")


def _reads_open(forward: Result, most: float, what: str) -> Result:
    supplied = nominal(forward.number)
    if supplied > most:
        line = f"{what} read open although the meter supplies {supplied:.3g} V, more than {most:.3g} V: open"
        limit = band("junction_voltage", None, most, "the most that sound junctions drop", "common practice")
        return replace(forward, limit=limit, trail=(*forward.trail, line))
    return nothing(
        "junction_voltage",
        f"{what} read open, but the meter supplies only {supplied:.3g} V and sound junctions may drop {most:.3g} V.",
        forward,
        advice="Use a meter or a bench supply that gives more volts than the junctions drop, through a resistor.",
    )


_JUNCTIONS = Input("ratio", "how many in series", GIVEN, "1")
_KIND = Input("", "of the junctions", WORD, "silicon", tuple(DROPS))
METHODS = (
    Method(
        name="junctions",
        title="Mean forward drop of each of several junctions in series.",
        gives="junction_voltage",
        inputs={"forward": Input("junction_voltage", "anode to cathode"), "junctions": _JUNCTIONS, "kind": _KIND},
        find=forward_drop,
    ),
    Method(
        name="diode both ways",
        title="Forward drop of a diode that must block the other way.",
        gives="junction_voltage",
        inputs={
            "forward": Input("junction_voltage", "anode to cathode"),
            "reverse": Input("junction_voltage", "cathode to anode"),
            "junctions": _JUNCTIONS,
            "kind": _KIND,
        },
        find=both_ways,
    ),
)
