"""What would help most: for each large part of a budget, what to do and what U would become."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from meterlog.heating.answer.result import Improvement

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.uncertainty import BudgetLine

_REMEDIES = [  # words in the line's name, what to do, the part of it that would remain
    ("how much warms", "measure the vessel's heat by mixing (state it in J/K)", 0.2),
    ("specific heat of the water", "use water with little salt", 0.6),
    ("specific heat", "measure the vessel's heat by mixing (state it in J/K)", 0.3),
    ("mass", "weigh it to 0.1 %", 0.2),
    ("display step", "use a thermometer that shows 0.01 °C", 0.1),
    ("mixing", "stir longer, at mid depth, and read while stirring", 0.4),
    ("start of heating", "log the mains power five times a second", 0.2),
    ("stop of heating", "log the mains power five times a second", 0.2),
    ("warm-up", "log the mains power ten times a second", 0.3),
    ("exchange with the room", "measure the room, log two minutes before and after, end nearer room temperature", 0.4),
    ("vessel not stated", "state the vessel's mass and material", 0.1),
    ("heat that the heater kept", "state when it was switched on and off, or log the power", 0.1),
    ("the ramp is not straight", "stir all the while, and log the power where a thermostat may cut out", 0.3),
    ("slope of the ramp", "heat longer, stir evenly, log faster", 0.5),
    ("scatter", "log a longer still stretch before and after", 0.5),
    ("gain", "have the thermometer compared at two temperatures", 0.3),
    ("offset", "compare the thermometer with the room's", 0.3),
]


def improvements(lines: Sequence[BudgetLine], expanded: float, most: int = 3) -> tuple[Improvement, ...]:
    """The remedies of the largest parts of a budget with expanded uncertainty U, W; each alone, the best first."""
    gains: dict[str, float] = {}
    for line in lines[:6]:
        remedy = _remedy(line)
        if remedy:
            gains[remedy[0]] = gains.get(remedy[0], 0.0) + line.share * (1.0 - remedy[1] ** 2)
    best = sorted(gains.items(), key=lambda item: -item[1])[:most]
    return tuple(
        Improvement(what=what, expanded_now=expanded, expanded_then=expanded * math.sqrt(max(1.0 - gain, 0.0)))
        for what, gain in best
        if gain > 0.03
    )


def _remedy(line: BudgetLine) -> tuple[str, float] | None:
    return next(((what, left) for words, what, left in _REMEDIES if words in line.name), None)
