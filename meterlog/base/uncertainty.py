"""Measurement uncertainty in the manner of the GUM (JCGM 100): errors, their budget, coverage.

An `Error` is one thing that may be wrong by some amount; an *estimate* is a value that carries
errors. Estimates are numbers: formulas are written as plain arithmetic, and sensitivities and
shared errors (two readings of one meter on one range) come out exact, by the `uncertainties`
package. What errors an instrument makes is `meterlog.judging`'s.

Coverage is 95.45 %, so that a normal budget has k = 2. The factor is not assumed: a budget of
rectangles has its own (1.65 for one alone), and few readings have Student's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any, TypeAlias

from meterlog.base.distributions import ErrorSum, student_cdf, student_quantile

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

COVERAGE = math.erf(math.sqrt(2.0))
"""Probability that an interval ±U covers the true value: 0.9545, k = 2 for a normal."""

MOST_LIMITED = 3

Estimate: TypeAlias = Any
"""A number in SI with the errors it carries; a plain float carries none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """One source of error, centred on zero, in the unit of what it belongs to.

    Attributes:
        name: what it is, in words ("accuracy of the meter").
        standard_uncertainty: of it, > 0.
        distribution: "rectangular", "normal" or "readings" (Student's t, from repeated readings).
        degrees_of_freedom: of the standard uncertainty; infinite unless from readings.
        source: where the figure comes from.
    """

    name: str
    standard_uncertainty: float
    distribution: str = "normal"
    degrees_of_freedom: float = math.inf
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """A line of a budget: an error, how strongly it acts on the result, and its share of the variance."""

    name: str
    distribution: str
    standard_uncertainty: float
    sensitivity: float
    contribution: float
    degrees_of_freedom: float | None
    share: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The uncertainty of one result.

    Attributes:
        lines: largest contribution first.
        standard: combined standard uncertainty.
        expanded: U, the half width that covers 95.45 %.
        degrees_of_freedom: effective, Welch–Satterthwaite; infinite when no readings limit it.
        how: the distribution that the coverage factor comes from, in words.
        cdf: probability that the error of the result lies at or below an amount.
    """

    lines: tuple[BudgetLine, ...]
    standard: float
    expanded: float
    degrees_of_freedom: float
    how: str
    cdf: Callable[[float], float]

    @property
    def coverage_factor(self) -> float:
        """U over u; 2 by convention when there is no uncertainty at all."""
        return self.expanded / self.standard if self.standard else 2.0


def rectangle(name: str, half_width: float, source: str = "") -> Error:
    """An error that lies anywhere within ± half_width alike: u = a/√3 (JCGM 100, 4.3.7).

    Raises: ValueError, when the half width is negative.
    """
    if half_width < 0:
        raise ValueError(f"a half width is not negative: {half_width}")
    return Error(name=name, standard_uncertainty=half_width / math.sqrt(3.0), distribution="rectangular", source=source)


def estimate(value: float, *errors: Error) -> Estimate:
    """A value that carries these errors, each its own."""
    out: Estimate = value
    for error in errors:
        out = out + error_of(error)
    return out


def error_of(error: Error) -> Estimate:
    """An error as a number to add; 0 when there is none. Add the *same* number to two estimates that share it."""
    if not error.standard_uncertainty:
        return 0.0
    from uncertainties import ufloat  # type: ignore[import-untyped]

    return ufloat(0.0, error.standard_uncertainty, tag=error)


def nominal(value: Estimate) -> float:
    """The value alone, without its errors."""
    return value if isinstance(value, (int, float)) else float(value.nominal_value)


def standard_uncertainty(value: Estimate) -> float:
    """Combined standard uncertainty of an estimate; 0 for a plain float."""
    return 0.0 if isinstance(value, (int, float)) else float(value.std_dev)


def sum_sharing(parts: Mapping[str, Estimate], own: tuple[str, ...]) -> Estimate:
    """The sum of named estimates in which errors of one name are one error, but for names that begin as in `own`.

    Two things read by one thermometer and weighed on one scale are wrong alike: such errors are added with
    their signs (r = 1; JCGM 100, 5.2.2), the others in quadrature.

    >>> two = {name: estimate(1.0, rectangle("scale", 0.3)) for name in ("left", "right")}
    >>> round(standard_uncertainty(sum_sharing(two, ())), 3), round(standard_uncertainty(sum_sharing(two, ("sca",))), 3)
    (0.346, 0.245)
    """
    alike: dict[str, float] = {}
    kept: dict[str, Error] = {}
    total: Estimate = 0.0
    for place, part in parts.items():
        total = total + nominal(part)
        for variable, slope in [] if isinstance(part, (int, float)) else part.derivatives.items():
            error = variable.tag
            if error.name.startswith(own):
                total = total + slope * error_of(replace(error, name=f"{error.name}, {place}"))
            else:
                alike[error.name] = alike.get(error.name, 0.0) + slope * error.standard_uncertainty
                kept.setdefault(error.name, error)
    for name, amount in alike.items():
        total = total + error_of(replace(kept[name], standard_uncertainty=abs(amount)))
    return total


def log(value: Any) -> Any:
    """Natural logarithm of an estimate or a float."""
    from uncertainties import umath

    return umath.log(value)


def exp(value: Any) -> Any:
    """e to the power of an estimate or a float."""
    from uncertainties import umath

    return umath.exp(value)


def budget_of(value: Estimate) -> Budget:
    """The budget of an estimate: a line for every error that it carries."""
    if isinstance(value, (int, float)):
        return _budget([])
    found = [(variable.tag, float(slope)) for variable, slope in value.derivatives.items() if slope]
    return _budget([(tag, slope) for tag, slope in found if isinstance(tag, Error)])


def _budget(found: Sequence[tuple[Error, float]]) -> Budget:
    parts = sorted(((abs(c) * e.standard_uncertainty, e, c) for e, c in found), key=lambda part: -part[0])
    standard = math.hypot(*(u for u, _, _ in parts))
    lines = tuple(
        BudgetLine(
            name=e.name,
            distribution=e.distribution,
            standard_uncertainty=e.standard_uncertainty,
            sensitivity=c,
            contribution=u,
            degrees_of_freedom=None if math.isinf(e.degrees_of_freedom) else e.degrees_of_freedom,
            share=(u / standard) ** 2,
            source=e.source,
        )
        for u, e, c in parts
    )
    limited = [(u, e.degrees_of_freedom) for u, e, _ in parts if not math.isinf(e.degrees_of_freedom)]
    dof = effective_degrees_of_freedom(standard, limited)
    expanded, how, cdf = _coverage([(u, e) for u, e, _ in parts], dof)
    return Budget(lines=lines, standard=standard, expanded=expanded, degrees_of_freedom=dof, how=how, cdf=cdf)


def effective_degrees_of_freedom(combined: float, limited: Sequence[tuple[float, float]]) -> float:
    """ν_eff = u_c⁴ / Σ(u_i⁴/ν_i), Welch–Satterthwaite (JCGM 100, G.4.1), not rounded; inf when nothing limits it.

    Args:
        combined: u_c of all contributions.
        limited: (contribution u_i, ν_i) of those with finite degrees of freedom.
    """
    below = math.fsum(u**4 / nu for u, nu in limited)
    return combined**4 / below if below else math.inf


def _coverage(parts: Sequence[tuple[float, Error]], dof: float) -> tuple[float, str, Callable[[float], float]]:
    """U, the name of its distribution and that distribution.

    Two ways, and the smaller is taken, so that U grows with every contribution and no threshold
    makes it jump: the exact sum of rectangles and normals, where an error known from ν readings
    counts as a normal t(ν)/t(∞) times as wide; and Student's t with the effective ν.
    """
    p = 0.5 + COVERAGE / 2.0
    widths = tuple(math.sqrt(3.0) * u for u, e in parts if e.distribution == "rectangular")
    wide = [u * student_quantile(p, e.degrees_of_freedom) / 2.0 for u, e in parts if e.distribution != "rectangular"]
    total = ErrorSum(widths, math.hypot(*wide))
    exact = total.quantile(p)
    if math.isinf(dof):
        return exact, _words(len(widths), total), total.cdf()
    student = _student_expanded([(u, e.degrees_of_freedom) for u, e in parts], p)
    if exact < student * (1.0 - 1e-9):
        return exact, _words(len(widths), total), total.cdf()
    scale = student / student_quantile(p, dof)
    return student, f"Student's t, {math.floor(dof)} degrees of freedom", lambda x: student_cdf(x / scale, dof)


def _words(rectangles: int, total: ErrorSum) -> str:
    if not total.standard_deviation:
        return "no error known"
    normal = "a normal" if total.sigma else ""
    flat = {0: "", 1: "one rectangle"}.get(rectangles, f"{rectangles} rectangles")
    return "the sum of " + " and ".join(part for part in (flat, normal) if part) if flat else "normal"


def _student_expanded(parts: Sequence[tuple[float, float]], p: float) -> float:
    """t(ν_eff) u_c, but never less than a part of the budget would give alone.

    Welch–Satterthwaite by itself lets a second error *shrink* U, because it raises ν_eff faster
    than u_c; an error added must not make a verdict surer. Past three errors from readings it has
    no say (infinite), and the sum of the widened errors stands.
    """
    limited = [part for part in parts if not math.isinf(part[1])]
    if len(limited) > MOST_LIMITED:
        return math.inf
    rest = math.hypot(*(u for u, nu in parts if math.isinf(nu)))
    best = 0.0
    for size in range(1, len(limited) + 1):
        for some in combinations(limited, size):
            for other in (0.0, rest):
                combined = math.hypot(other, *(u for u, _ in some))
                dof = effective_degrees_of_freedom(combined, some)
                best = max(best, combined * student_quantile(p, dof))
    return best


def effective_count(count: int, correlation: float) -> float:
    """How many independent readings `count` successive ones are worth: n / [1 + 2 Σ (1 − k/n) ρ^k], at least 1.

    Args:
        correlation: between successive readings, 0 <= ρ <= 1.

    >>> round(effective_count(20, 0.7), 2)
    4.09
    """
    weight = math.fsum((1.0 - k / count) * correlation**k for k in range(1, count))
    return max(count / (1.0 + 2.0 * weight), 1.0)
