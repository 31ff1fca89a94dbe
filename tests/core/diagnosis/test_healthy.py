"""The interval for one further reading, held to a public library's simulation and to a printed table."""

from math import log

import numpy as np
import pytest

from meterlog.diagnosis.healthy import MAD_FACTORS, EarlierReading, expected


def readings(values, step=1e-9):
    return [EarlierReading(value=float(v), step=step) for v in values]


@pytest.mark.parametrize("n", [0, 1, 2])
def test_below_three_there_are_dots_and_no_interval(n):
    found = expected(readings([10.0, 10.4][:n]))
    assert (found.count, found.low, found.is_unlike(99.0)) == (n, None, None)


FACTORS = [  # n, factor on the standard deviation: t(0.975, n - 1) times the root of 1 + 1/n
    # t from a printed table (Fundamentals of Probability and Statistics for Engineers, A.4, p. 370; read):
    # 4.303, 2.776, 2.306 for 2, 4 and 8 degrees of freedom
    (3, 4.303 * (4 / 3) ** 0.5),
    (5, 2.776 * (6 / 5) ** 0.5),
    (9, 2.306 * (10 / 9) ** 0.5),
]


@pytest.mark.parametrize(("n", "factor"), FACTORS)
def test_few_readings_by_student(n, factor):
    values = np.exp(np.linspace(-1.0, 1.0, n))
    s = np.std(np.linspace(-1.0, 1.0, n), ddof=1)
    found = expected(readings(values))
    assert log(found.high) == pytest.approx(factor * s, rel=1e-3)
    assert log(found.low) == pytest.approx(-factor * s, rel=1e-3)


@pytest.mark.parametrize("n", [3, 10, 30])
def test_it_covers_as_it_says(n):
    """0.94 to 0.97 of further readings, by numpy's own draws; 2000 tries know it to 0.01 (two standard deviations)."""
    rng = np.random.default_rng(n)
    draws = np.exp(np.log(20.0) + 0.05 * rng.standard_normal((2000, n + 1)))
    inside = 0
    for row in draws:
        found = expected(readings(row[:-1]))
        inside += found.low <= row[-1] <= found.high
    assert 0.93 <= inside / 2000 <= 0.98


@pytest.mark.parametrize("n", sorted(MAD_FACTORS))
def test_the_factors_of_the_median_deviation(n):
    rng = np.random.default_rng(100 + n)
    x = rng.standard_normal((40_000, n))
    middle = np.median(x, axis=1)
    deviation = 1.482602 * np.median(abs(x - middle[:, None]), axis=1)
    held = [np.mean(abs(rng.standard_normal(40_000) - middle) <= k * deviation) for k in MAD_FACTORS[n]]
    assert held == pytest.approx([0.95, 0.99], abs=0.005)


@pytest.mark.parametrize("n", [3, 10, 30])
def test_a_coarse_display_does_not_make_it_sure(n):
    """Scatter of 2 % on a display that steps by 5 %: equal readings are no sign of no scatter."""
    rng = np.random.default_rng(7)
    inside = 0
    for _ in range(1000):
        true = np.exp(np.log(20.0) + 0.02 * rng.standard_normal(n + 1))
        shown = np.round(true)
        found = expected(readings(shown[:-1], step=1.0))
        inside += found.low <= true[-1] <= found.high
    assert inside / 1000 >= 0.93


def test_a_faulty_one_among_ten_hides_nothing():
    found = expected(readings([20.0, 20.4, 19.7, 20.1, 19.9, 20.3, 19.8, 20.2, 20.0, 60.0]))
    assert found.is_unlike(30.0)
    assert not found.is_unlike(20.2)


def test_bounds_are_counted_and_never_averaged():
    found = expected([*readings([10.0, 10.1, 9.9]), EarlierReading(value=None, step=0.1)])
    assert (found.count, found.bounds) == (3, 1)
    assert found.high < 11.0
