"""Repeated runs pooled, and the budget's arithmetic against drawing numbers (JCGM 101)."""

import numpy as np
import pytest
from heating_examples import nine_b

from meterlog.base.uncertainty import BudgetLine, budget_of
from meterlog.heating.answer.repeats import pooled_number


def test_three_runs_pool_as_the_reference_works_them():
    """Section 9C: 706, 714, 709 W, u_B = 10.93 W of which 7.32 and 7.09 W have 8 degrees of freedom: u_c = 11.18 W."""
    rest = (10.93**2 - 7.31516**2 - 7.09245**2) ** 0.5
    parts = [("warm-up", 7.31516, 8.0), ("vessel", 7.09245, 8.0), ("the rest", rest, None)]
    shared = [
        BudgetLine(name=name, distribution="normal", standard_uncertainty=u, sensitivity=1.0, contribution=u,
             degrees_of_freedom=nu, share=0.0, source="")
        for name, u, nu in parts
    ]  # fmt: skip
    budget = budget_of(pooled_number([706.0, 714.0, 709.0], shared))
    assert budget.standard == pytest.approx(11.18, abs=0.005)
    assert budget.degrees_of_freedom == pytest.approx(22.7, abs=0.1)


def test_the_realistic_example_holds_by_drawing():
    """Section 9B drawn a million times: 734.9 W, s = 12.5 W, 95 % of them from 711.1 to 759.5 W (as printed)."""
    rng = np.random.default_rng(60705)
    n = 1_000_000

    def flat(middle, half):
        return rng.uniform(middle - half, middle + half, n)

    first, last, offset = flat(20.0, 0.05), flat(29.5, 0.05), flat(0.0, 0.5)
    first = first + offset + rng.normal(0, 0.05, n)
    last = last + offset + rng.normal(0, 0.05, n) + 9.5 * rng.normal(0, 0.002, n)
    room, clock = flat(20.0, 0.5), flat(60.0, 0.3)
    heat = flat(1000.0, 2.0) * rng.normal(4.1816, 0.0041816, n) * (last - first)
    heat += rng.normal(500.0, 1.0, n) * flat(0.55, 0.15) * (last - room)
    heat += rng.normal(1.0, 0.3, n) * ((first + last) / 2 - room) * clock
    powers = heat / (clock - flat(2.0, 1.0))
    budget = budget_of(nine_b())
    assert np.mean(powers) == pytest.approx(nine_b().nominal_value, abs=0.25)
    assert np.std(powers) == pytest.approx(budget.standard, rel=0.01)
    low, high = np.quantile(powers, [0.02275, 0.97725])
    assert (high - low) / 2 == pytest.approx(budget.expanded, rel=0.02)
