"""From a result and a limit to a verdict, by a decision rule (in the manner of JCGM 106, ILAC-G8)."""

from __future__ import annotations

from dataclasses import dataclass, replace

from meterlog.base.uncertainty import Budget, budget_of, nominal
from meterlog.base.units import reads_well, show, show_in, show_with
from meterlog.judging.limit import Limit, Rule
from meterlog.judging.result import NOT_PROVED, PROVE, Context, Result, width
from meterlog.judging.verdict import Outcome, Verdict

OPEN_OHM = 1e6
"""A range that ends below this shows nothing open: overload there can be any part. Common practice, no source."""

NEVER_BELOW = frozenset(
    {
        "resistance",
        "continuity",
        "insulation_resistance",
        "capacitance",
        "inductance",
        "leakage_current",
        "mass",
        "time",
    }
)
"""Quantities that are nothing at least: a result below that is a result of nothing."""
_SIZES = frozenset({"voltage", "current", "power"})
"""Quantities of which the size alone counts near nothing."""
SLACK = 1e-9
"""Part of U by which rounding may miss an acceptance limit."""


@dataclass(frozen=True, slots=True)
class _Case:
    """A value with its budget, held against one limit by one rule."""

    value: float
    budget: Budget
    limit: Limit
    rule: Rule
    context: Context

    @property
    def guard(self) -> float:
        """w, by which the limits are drawn in; 0 unless the rule is the guard band."""
        return self.context.guard * self.budget.expanded if self.rule is Rule.GUARD else 0.0

    @property
    def above(self) -> float:
        """Probability that the true value is above the upper limit."""
        return 0.0 if self.limit.high is None else self.budget.cdf(self.value - self.limit.high)

    @property
    def below(self) -> float:
        """Probability that the true value is below the lower limit."""
        return 0.0 if self.limit.low is None else self.budget.cdf(self.limit.low - self.value)

    @property
    def inside(self) -> float:
        return min(max(1.0 - self.above - self.below, 0.0), 1.0)

    def outcome(self) -> Outcome:
        if self.rule is Rule.PROBABILITY:
            return self._by_probability()
        low, high = self.limit.low, self.limit.high
        slack = SLACK * self.budget.expanded
        w = self.guard
        if (low is None or self.value >= low + w - slack) and (high is None or self.value <= high - w + slack):
            return Outcome.PASS
        # A negative band (guard < 0) accepts outside the limits: what it does not accept, fails.
        out = max(w, 0.0) + slack
        if (low is not None and self.value < low - out) or (high is not None and self.value > high + out):
            return Outcome.FAIL
        return Outcome.FAIL if self.rule is Rule.SIMPLE or w < 0 else Outcome.UNDECIDED

    def _by_probability(self) -> Outcome:
        if self.inside >= self.context.required:
            return Outcome.PASS
        return Outcome.FAIL if max(self.above, self.below) >= self.context.required else Outcome.UNDECIDED

    def acceptance(self) -> tuple[float | None, float | None]:
        """Between what a value passes; (None, None) for the rule that has no fixed acceptance limits."""
        if self.rule is Rule.PROBABILITY:
            return (None, None)
        low, high, w = self.limit.low, self.limit.high, self.guard
        return (None if low is None else low + w, None if high is None else high - w)


def judge(result: Result, limit: Limit | None, rule: Rule = Rule.GUARD, context: Context | None = None) -> Verdict:
    """The verdict on a result: a bound as a bound, a value by the rule.

    Without a limit it is recorded, not judged; its uncertainty is told all the same.
    """
    context = context or Context()
    if result.is_unproved and result.number is not None:
        return _unproved(judge(replace(result, is_unproved=False), limit, rule, context), result)
    if result.number is None:
        verdict = _not_judged(result, limit, rule, result.reason)
        return replace(verdict, outcome=Outcome.UNDECIDED) if result.is_unproved and limit else verdict
    budget = budget_of(result.number)
    if limit is not None and limit.of:
        if limit.of not in context.entries:
            why = f"The limit is a part of {limit.of!r}, which was not entered."
            return _told(_not_judged(result, limit, rule, why), result, budget)
        limit = limit.against(context.entries)
    if limit is not None and limit.is_open:
        return _told(_open_verdict(result, limit, rule), result, budget)
    if limit is None or (limit.low is None and limit.high is None):
        return _told(_not_judged(result, limit, rule, "There is no limit: recorded, not judged."), result, budget)
    if result.bound:
        return _told(_bound_verdict(result, limit, rule, budget), result, budget)
    case = _Case(nominal(result.number), budget, limit, rule, context)
    verdict = _value_verdict(case, result)
    if result.excess:
        lower = replace(case, value=case.value - result.excess)
        if lower.outcome() is not verdict.outcome:
            verdict = _leads_matter(verdict, result, limit.unit)
    return _told(verdict, result, budget)


def _unproved(verdict: Verdict, result: Result) -> Verdict:
    """A verdict that rests on leads that were not proved: what would pass is undecided."""
    if verdict.outcome is not Outcome.PASS:
        return verdict
    return replace(verdict, outcome=Outcome.UNDECIDED, why=" ".join((NOT_PROVED, *result.doubts)), advice=PROVE)


def _not_judged(result: Result, limit: Limit | None, rule: Rule, why: str) -> Verdict:
    return Verdict(
        outcome=Outcome.NOT_JUDGED,
        why=" ".join((why, *result.doubts)),
        quantity=result.quantity,
        unit=result.unit,
        limit=limit,
        rule=rule,
        trail=result.trail,
        advice=result.advice,
    )


def _told(verdict: Verdict, result: Result, budget: Budget) -> Verdict:
    """The verdict with the result, its uncertainty and its budget in."""
    dof = budget.degrees_of_freedom
    known = budget.standard > 0
    unit = verdict.limit.unit if verdict.limit else ""
    shown = str(result) if result.value is None else show_with(result.value, budget.expanded, result.unit, unit)
    combined = f"result {shown.partition(' ± ')[0]}: u = {budget.standard:.4g}"
    if known:
        combined += f", k = {budget.coverage_factor:.3f} ({budget.how}), U = {budget.expanded:.4g}, 95.45 %"
    return replace(
        verdict,
        value=result.value,
        bound=result.bound,
        edge=result.edge,
        standard_uncertainty=budget.standard,
        expanded_uncertainty=budget.expanded,
        coverage_factor=budget.coverage_factor,
        degrees_of_freedom=None if dof == float("inf") else dof,
        budget=budget.lines,
        trail=(*result.trail, combined, *verdict.trail[len(result.trail) :]),
    )


def _value_verdict(case: _Case, result: Result) -> Verdict:
    outcome = case.outcome()
    unit = result.unit
    limits = interval(case.limit.low, case.limit.high, unit, case.limit.unit)
    low, high = case.acceptance()
    lines = [f"limits {limits}{_origin(case.limit)}; rule: {case.rule}"]
    if case.rule is Rule.GUARD:
        passes = interval(low, high, unit, case.limit.unit)
        if low is not None and high is not None and low > high:
            passes = "nothing, for the limits lie closer than twice that"
        elif low is None and high is not None and high < 0 and result.quantity in NEVER_BELOW:
            passes = "nothing, for that is more than the limit"
        risk = case.budget.cdf(-case.guard)
        lines.append(f"guard band w = {case.context.guard:g} × U = {case.guard:.4g}: passes {passes}")
        lines.append(f"a value just within that would be outside the limit with probability {risk:.4f}")
    lines.append(f"probability of conformity {case.inside:.4f}, as far as the meter can say")
    shown = _found(case, result)
    words = {
        Outcome.PASS: f"{shown} lies within {the_limit(case.limit, unit)}.",
        Outcome.FAIL: f"{shown} lies outside {the_limit(case.limit, unit)}.",
        Outcome.UNDECIDED: f"{shown} is too close to the limit for this measurement ({limits}).",
    }[outcome]
    return Verdict(
        outcome=outcome,
        why=" ".join((words, *result.doubts)),
        quantity=result.quantity,
        unit=unit,
        probability=case.inside,
        limit=case.limit,
        rule=case.rule,
        acceptance=(low, high),
        trail=(*result.trail, *lines),
        advice=advise(case.value, case.budget, case.limit, result) if outcome is Outcome.UNDECIDED else result.advice,
    )


def _found(case: _Case, result: Result) -> str:
    """What was found: the value with its uncertainty; of one that can't be told from nothing, what it is at most."""
    u, unit = case.budget.expanded, result.unit
    if abs(case.value) >= u or result.quantity not in NEVER_BELOW | _SIZES:
        return show_with(case.value, u, unit, case.limit.unit)
    return f"It is no more than {show_in(abs(case.value) + u, unit, case.limit.unit, 2)}, which"


def _leads_matter(verdict: Verdict, result: Result, unit: str) -> Verdict:
    theirs, all_of_it = (show_in(each, result.unit, unit) for each in (result.excess, result.value or 0.0))
    words = f"The leads were not nulled: up to {theirs} of {all_of_it} may be theirs"
    return replace(
        verdict,
        outcome=Outcome.UNDECIDED,
        why=" ".join((f"{words}, which decides between {verdict.outcome} and not.", *result.doubts)),
        advice="Record the leads pressed together, then measure again; below 0.1 ohm measure with four wires.",
    )


def _open_verdict(result: Result, limit: Limit, rule: Rule) -> Verdict:
    """Whether a circuit that ought to be open is: only beyond the end of a high range."""
    reaches = result.unit != "ohm" or (result.edge or 0.0) >= OPEN_OHM
    if result.bound != "above":
        shown = show(nominal(result.number), result.unit) if result.number is not None else str(result)
        outcome, words, advice = Outcome.FAIL, f"It should be open and shows {shown}.", ""
    elif reaches:
        outcome, words, advice = Outcome.PASS, f"Open: {result}.", ""
    else:
        outcome, words = Outcome.UNDECIDED, f"{result} can be an open circuit or not."
        advice = f"Measure on a range that ends above {show(OPEN_OHM, 'ohm')}."
    return Verdict(
        outcome=outcome,
        why=" ".join((words, *result.doubts)),
        quantity=result.quantity,
        unit=result.unit,
        limit=limit,
        rule=rule,
        trail=(*result.trail, f"expected open; seen {result}"),
        advice=advice,
    )


def _bound_verdict(result: Result, limit: Limit, rule: Rule, budget: Budget) -> Verdict:
    """Bounds made safe by U, then read from the table: what lies beyond the edge, all of it."""
    assert result.number is not None
    edge = nominal(result.number)
    above = result.bound == "above"
    safe = edge - budget.expanded if above else edge + budget.expanded
    near, far = (limit.low, limit.high) if above else (limit.high, limit.low)

    def reaches(mark: float | None) -> bool:
        return mark is not None and (safe >= mark - SLACK * abs(mark) if above else safe <= mark + SLACK * abs(mark))

    if reaches(far):
        outcome = Outcome.FAIL
    elif far is None and reaches(near):
        outcome = Outcome.PASS
    else:
        outcome = Outcome.UNDECIDED
    limits, held = interval(limit.low, limit.high, result.unit, limit.unit), the_limit(limit, result.unit)
    word, than = ("above", "More than") if above else ("below", "Less than")
    words = {
        Outcome.PASS: f"{than} {show_in(edge, result.unit, limit.unit)} lies within {held}.",
        Outcome.FAIL: f"{than} {show_in(edge, result.unit, limit.unit)} lies outside {held}.",
        Outcome.UNDECIDED: f"The reading says only {result}: that can be within {held} or not.",
    }[outcome]
    advice = "Measure on a range, or with an instrument, that reaches the limit." if not result.advice else ""
    return Verdict(
        outcome=outcome,
        why=" ".join((words, *result.doubts)),
        quantity=result.quantity,
        unit=result.unit,
        probability={Outcome.PASS: 1.0, Outcome.FAIL: 0.0}.get(outcome),
        limit=limit,
        rule=rule,
        trail=(
            *result.trail,
            f"a bound: all that lies {word} {safe:.6g} ({edge:.6g} made safe by U = {budget.expanded:.4g})"
            f" against {limits}{_origin(limit)}",
        ),
        advice=(result.advice or advice) if outcome is Outcome.UNDECIDED else "",
    )


def advise(value: float, budget: Budget, limit: Limit, result: Result) -> str:
    """What would decide an undecided value: the part of the budget to make smaller, and how far."""
    if limit.low is not None and limit.high is not None and limit.high - limit.low < 2.0 * budget.expanded:
        room = width((limit.high - limit.low) / 2.0, result.unit, 3, limit.unit)
        return f"No value could pass: U must be below {room}. Use a better instrument or range."
    if value in (limit.low, limit.high):
        return "It lies on the limit: no measurement of this value decides it."
    gaps = [abs(value - mark) for mark in (limit.low, limit.high) if mark is not None]
    wanted = width(min(gaps), result.unit, 3, limit.unit)
    kind = budget.lines[0].name if budget.lines else ""
    return f"It would be decided with U below {wanted}: {_remedy(kind, result)}"


def _remedy(largest: str, result: Result) -> str:
    if any("not known" in doubt for doubt in result.doubts):
        return "give the accuracy of the instrument, or use one whose accuracy is known."
    if "spread" in largest:
        return "lift, clean the contacts, re-apply and take more readings."
    if "null" in largest or "leads" in largest:
        return "null the leads again, or measure with four wires."
    if "resolution" in largest:
        return "use a range with a smaller last digit."
    if result.quantity in ("resistance", "continuity"):
        return "use a lower range or a better instrument, or measure with four wires."
    return "use a lower range or a better instrument."


def _origin(limit: Limit) -> str:
    """Where a limit comes from and how that was seen, for the trail."""
    told = "; ".join(part for part in (limit.source, limit.mark) if part)
    return f" ({told})" if told else ""


def the_limit(limit: Limit, unit: str) -> str:
    """A limit within a sentence: "the limit of at most 300 mΩ", "the limits of 4.7 µF to 5.2 µF"."""
    word = "limit" if limit.low is None or limit.high is None else "limits"
    return f"the {word} of {interval(limit.low, limit.high, unit, limit.unit)}"


def interval(low: float | None, high: float | None, si: str, unit: str = "") -> str:
    """Limits for a person, in the unit in which they were written: "at most 0.3 Ω", "4.7 µF to 5.2 µF", "± 0.5 Ω"."""
    fits = all(end is None or reads_well(end, si, unit) for end in (low, high))
    below, above = (None if end is None else show_in(end, si, unit if fits else "") for end in (low, high))
    if below is None:
        return "no limit" if above is None else f"at most {above}"
    if above is None:
        return f"at least {below}"
    return f"± {above}" if low is not None and high == -low else f"{below} to {above}"
