"""A run's power with its uncertainty, held against the plate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import estimate, rectangle
from meterlog.heating.answer import rating
from meterlog.heating.answer.improve import improvements
from meterlog.heating.answer.result import Useful
from meterlog.judging import Limit, Outcome, Result, Rule, judge

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.answer.result import Electrical
    from meterlog.heating.answer.unstated import Unstated
    from meterlog.judging import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """What the power is held against.

    Attributes:
        limit: the acceptance interval; None where nothing is.
        means: what it is of: "output", useful power, or "input", metered power while on.
        rule: the decision rule.
    """

    limit: Limit | None = None
    means: str = "output"
    rule: Rule = Rule.GUARD


def useful_of(
    number: Estimate, clock_mean: float, trail: tuple[str, ...], plate: Plate, electrical: Electrical | None,
    unstated: Unstated,
) -> Useful:  # fmt: skip
    """The power with its uncertainty and its verdict, by the decision rules of every other check."""
    power = judge(Result(quantity="power", number=number, trail=trail), plate.limit, plate.rule)
    assert power.value is not None
    assert power.standard_uncertainty is not None
    assert power.expanded_uncertainty is not None
    assert power.coverage_factor is not None
    helpful = improvements(power.budget, power.expanded_uncertainty)
    verdict = _by_input(electrical, plate) if plate.means == "input" and plate.limit else power
    if plate.means == "output":
        verdict = unstated.held(verdict, plate.limit)
    if verdict.outcome is Outcome.UNDECIDED and helpful and plate.means == "output" and not verdict.advice:
        verdict = replace(verdict, advice=f"What would help most: {helpful[0]}.")
    return Useful(
        number=number,
        watts=power.value,
        standard_uncertainty=power.standard_uncertainty,
        expanded_uncertainty=power.expanded_uncertainty,
        coverage_factor=power.coverage_factor,
        degrees_of_freedom=power.degrees_of_freedom,
        clock_mean=clock_mean,
        budget=power.budget,
        improvements=helpful,
        verdict=verdict,
    )


def _by_input(electrical: Electrical | None, plate: Plate) -> Verdict:
    """The metered power while on against a plate that states input."""
    if electrical is None:
        why = "The plate states electrical input, and no power was logged."
        advice = "Log the mains power beside the temperature."
        return judge(Result(quantity="power", reason=why, advice=advice), plate.limit, plate.rule)
    watts = electrical.on_power
    meter = rectangle("power meter", rating.METER * watts, "common practice, no source")
    line = f"mean metered power while on {watts:.1f} W"
    return judge(Result(quantity="power", number=estimate(watts, meter), trail=(line,)), plate.limit, plate.rule)
