"""The ratio of two captures: of one meter on one range the gain cancels; bounds stay bounds."""

from __future__ import annotations

from typing import Any

from meterlog.judging.formula import derive
from meterlog.judging.method import Input, Method
from meterlog.judging.result import Result, nothing


def over(below: Any, above: Any) -> Any:
    """above / below."""
    return above / below


def quotient(above: Result, below: Result) -> Result:
    """One result over another of the same quantity, a pure number.

    above   below   ratio
    y       x       y/x
    > b     x       > b/x
    y       > b     < y/b
    > b     > c     nothing is known
    """
    if above.unit != below.unit:
        return nothing("ratio", f"A ratio of {above.unit} to {below.unit} is no pure number.", above, below)
    return derive("ratio", over, "{1}/{0}", below, above)


METHODS = (
    Method(
        name="ratio",
        title="One capture over another.",
        gives="ratio",
        inputs={"above": Input("resistance", "the dividend"), "below": Input("resistance", "the divisor")},
        find=quotient,
    ),
)
