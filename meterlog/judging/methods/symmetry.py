"""Windings against each other: unequal pairs, and the three terminals of a single-phase compressor."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from meterlog.base.uncertainty import nominal
from meterlog.judging.formula import derive
from meterlog.judging.method import SEVERAL, Input, Method
from meterlog.judging.result import Result, doubts, nothing, trails


def unbalance(largest: Any, smallest: Any, total: Any, count: int) -> Any:
    """Largest minus smallest, over the mean."""
    return (largest - smallest) / (total / count)


def symmetry(windings: tuple[Result, ...]) -> Result:
    """By what part of their mean windings differ, largest to smallest; 2 to 5 % is usual.

    Common practice, no source. Measured with one meter on one range, its gain cancels.
    """
    if len(windings) < 2:
        return nothing("ratio", "Two windings or more are needed.", *windings)
    absent = next((part for part in windings if part.number is None or part.bound), None)
    if absent is not None:
        return nothing("ratio", absent.reason or f"A winding reads {absent}: bounds are not compared.", *windings)
    ordered = sorted(windings, key=lambda part: nominal(part.number))
    smallest, largest = ordered[0].number, ordered[-1].number
    total: Any = sum(part.number for part in windings)
    number = unbalance(largest, smallest, total, len(windings))
    line = f"({ordered[-1]} − {ordered[0]})/mean of {len(windings)} = {nominal(number):.4g}"
    result = Result(quantity="ratio", number=number, doubts=doubts(windings))
    return replace(result, trail=(*trails(windings), line))


def in_series(common_start: Any, common_run: Any, start_run: Any) -> Any:
    """What is missing between the sum of two windings and their pair, ohm; 0 when sound."""
    return common_start + common_run - start_run


def terminal_sum(common_start: Result, common_run: Result, start_run: Result) -> Result:
    """C–S and C–R together against S–R: by what they differ.

    One lead error in each reading shows as exactly one lead error here. Source: three compressor
    trade and textbook pages (read).
    """
    line = "C–S + C–R − S–R = {0} + {1} − {2}"
    return derive("resistance", in_series, line, common_start, common_run, start_run)


METHODS = (
    Method(
        name="symmetry",
        title="By what part of their mean windings differ.",
        gives="ratio",
        inputs={"windings": Input("resistance", "of equal make, at one temperature", SEVERAL)},
        find=symmetry,
    ),
    Method(
        name="terminal sum",
        title="Two windings of a compressor against the pair in series.",
        gives="resistance",
        inputs={
            "common start": Input("resistance", "common to start"),
            "common run": Input("resistance", "common to run"),
            "start run": Input("resistance", "start to run"),
        },
        find=terminal_sum,
    ),
)
