"""Formulas on results: errors and bounds go through, and the trail shows the numbers put in.

A formula is plain arithmetic and monotone in each input where it is used, so that an edge goes in
as a number and its direction follows from the formula's slope there.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import nominal
from meterlog.judging.result import Result, doubts, nothing, trails

if TYPE_CHECKING:
    from collections.abc import Callable


def exactly(value: float, quantity: str) -> Result:
    """A number that carries no error: a constant, a rating, what the rule says."""
    return Result(quantity=quantity, number=float(value))


def derive(quantity: str, formula: Callable[..., Any], line: str, *parts: Result) -> Result:
    """The result of a formula on other results.

    Args:
        line: the arithmetic with {0}, {1}, … where the inputs' values go: "R2/R1 = {1}/{0}".

    Raises: ValueError, ZeroDivisionError or OverflowError, where the formula has no value.

    A bound goes through when every bounded input pushes the same way; otherwise nothing is known.
    """
    absent = next((part for part in parts if part.number is None), None)
    if absent is not None:
        return nothing(quantity, absent.reason or "A value is missing.", *parts, advice=absent.advice)
    values = [nominal(part.number) for part in parts]
    number = formula(*(part.number for part in parts))
    bound = _direction(formula, values, parts)
    if bound == "both":
        return nothing(quantity, "The bounds push both ways: nothing is known.", *parts)
    excess = 0.0
    if any(part.excess for part in parts):
        excess = nominal(number) - nominal(formula(*(v - part.excess for v, part in zip(values, parts, strict=True))))
    result = Result(quantity=quantity, number=number, bound=bound, excess=excess, doubts=doubts(parts))
    shown = f"{_filled(line, values)} = {result}"
    return replace(result, trail=(*trails(parts), shown))


def _filled(line: str, values: list[float]) -> str:
    return line.format(*(f"{value:.6g}" for value in values))


def _direction(formula: Callable[..., Any], values: list[float], parts: tuple[Result, ...]) -> str:
    """The direction that bounded inputs give: "", "above", "below" or "both"."""
    pushes: set[str] = set()
    for i, part in enumerate(parts):
        if not part.bound:
            continue
        step = 1e-6 * abs(values[i]) or 1e-9
        beyond = values[i] + step if part.bound == "above" else values[i] - step
        moved = nominal(formula(*values[:i], beyond, *values[i + 1 :])) - nominal(formula(*values))
        if not math.isclose(moved, 0.0, abs_tol=0.0):
            pushes.add("above" if moved > 0 else "below")
    if len(pushes) > 1:
        return "both"
    return pushes.pop() if pushes else ""
