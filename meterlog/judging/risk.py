"""Risks of accepting by a meter, when it is known how a make of part scatters (in the manner of JCGM 106)."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from meterlog.base.distributions import normal_cdf
from meterlog.base.uncertainty import nominal
from meterlog.judging.method import GIVEN, WORD, Input, Method
from meterlog.judging.result import Result

if TYPE_CHECKING:
    from collections.abc import Callable

_STEPS = 2000


def consumers_risk(scatter: float, meter: float, tolerance: float, acceptance: float) -> float:
    """Chance that a part is accepted and outside its tolerance.

    Args:
        scatter, meter: standard deviations of the parts and of the meter.
        tolerance, acceptance: half widths about the nominal value.
    """
    accepted = _accepted(meter, acceptance)
    return 2.0 * _integral(lambda x: accepted(x) * _density(x, scatter), tolerance, tolerance + 12.0 * scatter)


def producers_risk(scatter: float, meter: float, tolerance: float, acceptance: float) -> float:
    """Chance that a part is rejected and inside its tolerance. Arguments as in `consumers_risk`."""
    accepted = _accepted(meter, acceptance)
    return 2.0 * _integral(lambda x: (1.0 - accepted(x)) * _density(x, scatter), 0.0, tolerance)


def _accepted(meter: float, acceptance: float) -> Callable[[float], float]:
    return lambda x: normal_cdf((acceptance - x) / meter) - normal_cdf((-acceptance - x) / meter)


def _density(x: float, scatter: float) -> float:
    return math.exp(-0.5 * (x / scatter) ** 2) / (scatter * math.sqrt(2.0 * math.pi))


def _integral(f: Callable[[float], float], low: float, high: float) -> float:
    """Simpson's rule."""
    step = (high - low) / _STEPS
    inner = math.fsum((4 if i % 2 else 2) * f(low + i * step) for i in range(1, _STEPS))
    return (f(low) + inner + f(high)) * step / 3.0


def batch_risk(scatter: Result, meter: Result, tolerance: Result, acceptance: Result, whose: str) -> Result:
    """The risk of an incoming check: that a bad part is taken, or a good one refused."""
    numbers: list[Any] = [nominal(part.number) for part in (scatter, meter, tolerance, acceptance)]
    risk = consumers_risk(*numbers) if whose == "taken" else producers_risk(*numbers)
    words = "bad and taken" if whose == "taken" else "good and refused"
    line = "parts scatter {:g}, meter {:g}, tolerance ± {:g}, accepted within ± {:g}".format(*numbers)
    return Result(quantity="ratio", number=risk, trail=(f"{line}: {words} {risk:.4g}",))


METHODS = (
    Method(
        name="batch risk",
        title="Risk that an incoming check takes a bad part, or refuses a good one.",
        gives="ratio",
        inputs={
            "scatter": Input("resistance", "standard deviation of the parts", GIVEN),
            "meter": Input("resistance", "standard uncertainty of the meter", GIVEN),
            "tolerance": Input("resistance", "half width of the tolerance", GIVEN),
            "acceptance": Input("resistance", "half width within which a reading is accepted", GIVEN),
            "whose": Input("", "a bad part taken, or a good one refused", WORD, "taken", ("taken", "refused")),
        },
        find=batch_risk,
    ),
)
