"""A run's power with its uncertainty, held against the plate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import estimate, rectangle
from meterlog.base.units import show
from meterlog.heating.answer import rating
from meterlog.heating.answer.improve import improvements
from meterlog.heating.answer.result import Useful
from meterlog.judging import Limit, Outcome, Result, Rule, judge

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.answer.result import Electrical
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
    number: Estimate, clock_mean: float, trail: tuple[str, ...], plate: Plate, electrical: Electrical | None, *,
    is_lower_bound: bool,
) -> Useful:  # fmt: skip
    """The power with its uncertainty and its verdict, by the decision rules of every other check."""
    power = judge(Result(quantity="power", number=number, trail=trail), plate.limit, plate.rule)
    assert power.value is not None
    assert power.standard_uncertainty is not None
    assert power.expanded_uncertainty is not None
    assert power.coverage_factor is not None
    helpful = improvements(power.budget, power.expanded_uncertainty)
    verdict = _by_input(electrical, plate) if plate.means == "input" and plate.limit else power
    if is_lower_bound and plate.means == "output":
        verdict = _of_a_lower_bound(verdict, plate.limit)
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


def _of_a_lower_bound(verdict: Verdict, limit: Limit | None) -> Verdict:
    """A power that may be more than it was found can pass a lower limit, and can't fail one, nor pass an upper."""
    if limit is None or verdict.value is None:
        return verdict
    unstated = "The vessel was not stated, so the power is a lower bound"
    state = "State the vessel's mass and material, and judge the run again."
    if verdict.outcome is Outcome.FAIL and limit.low is not None and verdict.value < limit.low:
        return replace(
            verdict, outcome=Outcome.UNDECIDED, why=f"{unstated}: below {show(limit.low, 'watt')} it proves nothing.",
            advice=state,
        )  # fmt: skip
    if verdict.outcome is Outcome.PASS and limit.high is not None:
        return replace(
            verdict, why=f"{verdict.why} {unstated}: that it is at most {show(limit.high, 'watt')} is not shown.",
            advice=state,
        )  # fmt: skip
    return verdict


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
