"""Distributions, budgets and coverage, against tables, scipy and Monte Carlo."""

import math

import numpy as np
import pytest
import scipy.stats
from check_tables import rows
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base import uncertainty
from meterlog.base.distributions import ErrorSum, normal_cdf, student_cdf, student_quantile
from meterlog.base.uncertainty import Error, budget_of, error_of, estimate, rectangle


def two_sided(p):
    return 0.5 + float(p) / 2


@pytest.mark.parametrize("row", rows("coverage.csv", kind="rectangle and normal, sigma over u of the rectangle"))
def test_coverage_of_a_rectangle_and_a_normal(row):
    total = ErrorSum((math.sqrt(3),), float(row["parameter"]))
    k = total.quantile(two_sided(row["probability"])) / total.standard_deviation
    assert k == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", rows("coverage.csv", kind="student, degrees of freedom"))
def test_student(row):
    t = student_quantile(two_sided(row["probability"]), float(row["parameter"]))
    assert t == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("nu", [1, 1.5, 2, 3, 4, 9.3, 10, 30, 60, 1000, 1e6, 3e7, 1e12])
@pytest.mark.parametrize("p", [0.001, 0.05, 0.6, 0.95, 0.97725, 0.995, 0.9999])
def test_student_agrees_with_scipy(p, nu):
    expected = float(scipy.stats.t.ppf(p, nu))
    assert student_quantile(p, nu) == pytest.approx(expected, rel=1e-7)
    assert student_cdf(expected, nu) == pytest.approx(p, abs=1e-9)


def test_a_probability_of_one_has_no_quantile():
    with pytest.raises(ValueError, match="a probability between 0 and 1, not 1"):
        student_quantile(1.0, 3)


SUMS = [((1.0, 0.5), 0.0), ((1.0, 1.0, 1.0), 0.0), ((1.0, 0.3), 0.2), ((1.0, 1e-4, 0.7), 0.0), ((0.01, 0.02), 1.0)]


@pytest.mark.parametrize(("widths", "sigma"), SUMS)
def test_sums_of_errors_agree_with_draws(widths, sigma):
    dice = np.random.default_rng(7)
    draws = sigma * dice.standard_normal(1_000_000)
    for a in widths:
        draws += dice.uniform(-a, a, draws.size)
    total = ErrorSum(widths, sigma)
    assert total.quantile(0.975) == pytest.approx(np.quantile(draws, 0.975), abs=0.004 * total.standard_deviation)
    cdf = total.cdf()
    for x in np.quantile(draws, [0.02, 0.4, 0.8]):
        assert cdf(float(x)) == pytest.approx(np.mean(draws <= x), abs=0.002)


def test_an_error_that_two_readings_share_cancels_in_their_ratio():
    gain = error_of(rectangle("gain", 0.01))
    ratio = (2.0 + 2.0 * gain) / (4.0 + 4.0 * gain)
    assert uncertainty.standard_uncertainty(ratio) == pytest.approx(0.0, abs=1e-15)
    alone = (2.0 + 2.0 * gain) / (4.0 + 4.0 * error_of(rectangle("gain", 0.01)))
    assert uncertainty.standard_uncertainty(alone) == pytest.approx(0.5 * 0.01 / math.sqrt(3) * math.sqrt(2))


def test_the_budget_lists_every_error_the_largest_first():
    value = 2.0 * estimate(10.0, rectangle("accuracy", 0.3)) + estimate(
        1.0, Error(name="spread", standard_uncertainty=0.1)
    )
    lines = budget_of(value).lines
    assert [(line.name, line.sensitivity) for line in lines] == [("accuracy", 2.0), ("spread", 1.0)]
    assert lines[0].contribution == pytest.approx(2 * 0.3 / math.sqrt(3))
    assert sum(line.share for line in lines) == pytest.approx(1.0)


def readings(u, nu, name="spread"):
    return Error(name=name, standard_uncertainty=u, distribution="readings", degrees_of_freedom=nu)


def test_few_readings_have_their_own_factor():
    alone = budget_of(estimate(0.0, readings(1.0, 4)))
    assert alone.expanded == pytest.approx(2.869, abs=0.001), (
        "t at 95.45 %, 4 degrees of freedom: 2.87, JCGM 100 table G.2"
    )
    assert alone.how == "Student's t, 4 degrees of freedom"


def test_coverage_holds_for_a_rectangle_and_few_readings():
    """How often ±U covers, when s comes from five readings each time: not less than promised."""
    dice = np.random.default_rng(3)
    covered = 0
    for _ in range(1500):
        own = dice.standard_normal(5) * 0.5
        error = own.mean() + dice.uniform(-1, 1)
        budget = budget_of(estimate(0.0, rectangle("accuracy", 1.0), readings(own.std(ddof=1) / math.sqrt(5), 4)))
        covered += abs(error) <= budget.expanded
    assert covered / 1500 > 0.945


ERRORS = st.tuples(st.floats(0.001, 10.0), st.sampled_from(["rectangular", "normal", 1.0, 3.0, 4.0, 11.0, 60.0]))


def error(u, kind):
    return readings(u, kind) if isinstance(kind, float) else Error(name="x", standard_uncertainty=u, distribution=kind)


@settings(deadline=None)
@given(st.lists(ERRORS, min_size=1, max_size=5), st.integers(0, 4), st.floats(1.0, 3.0))
def test_a_larger_error_never_shrinks_the_expanded_uncertainty(kinds, which, factor):
    wider = list(kinds)
    u, kind = kinds[which % len(kinds)]
    wider[which % len(kinds)] = (u * factor, kind)
    before = budget_of(estimate(0.0, *(error(*one) for one in kinds))).expanded
    after = budget_of(estimate(0.0, *(error(*one) for one in wider))).expanded
    assert after >= before * (1 - 1e-6)


@settings(deadline=None)
@given(st.lists(ERRORS, min_size=0, max_size=4), ERRORS)
def test_one_more_error_never_shrinks_the_expanded_uncertainty(kinds, more):
    before = budget_of(estimate(0.0, *(error(*one) for one in kinds))).expanded
    after = budget_of(estimate(0.0, *(error(*one) for one in [*kinds, more]))).expanded
    assert after >= before * (1 - 1e-6)


CORRELATED = [(0.3, 11.1), (0.5, 7.14), (0.7, 4.09), (0.9, 1.80), (0.95, 1.37)]  # n = 20, computed outside this project


@pytest.mark.parametrize(("rho", "worth"), CORRELATED)
def test_correlated_readings_are_worth_fewer(rho, worth):
    assert uncertainty.effective_count(20, rho) == pytest.approx(worth, abs=0.05)


def test_a_plain_number_has_no_uncertainty():
    budget = budget_of(3.0)
    assert (budget.standard, budget.expanded, budget.coverage_factor, budget.lines) == (0.0, 0.0, 2.0, ())
    assert (budget.cdf(-1e-9), budget.cdf(0.0), budget.cdf(1e-9)) == (0.0, 0.5, 1.0)
    assert normal_cdf(0.0) == 0.5
