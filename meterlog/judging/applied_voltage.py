"""The voltage that an insulation tester says it applied, held against the one that a step asks for."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.units import show

if TYPE_CHECKING:
    from meterlog.base.readings import Form

_SAID = re.compile(r"(?:test(?:ed|s)?(?: at| voltage)?:? ?)?(\d+(?:\.\d+)?) ?(k?)V(?: ?DC)?", re.IGNORECASE)
TOLERANCE = 0.05
"""How far the nominal voltage that is said may lie from the one that is asked for. Common practice, no source: the
nominal voltages of testers (50, 100, 250, 500, 1000 V) lie further apart."""


def applied_voltage(form: Form) -> float | None:
    """V that the tester says it applied, by its flag "test at 500 V" or "500 V"; None when it says nothing."""
    for flag in form.flags:
        if said := _SAID.fullmatch(flag):
            return float(said[1]) * (1000.0 if said[2] else 1.0)
    return None


def wrong_voltage(form: Form, wanted: float | None) -> str:
    """Why a reading was not taken at the voltage that is wanted, V, and what to do; "" where nothing says so."""
    said = applied_voltage(form)
    if wanted is None or said is None or abs(said - wanted) <= TOLERANCE * wanted:
        return ""
    return (
        f"The tester says that it tests at {show(said, 'volt')}, and this check wants {show(wanted, 'volt')}: "
        "set it, and measure again."
    )
