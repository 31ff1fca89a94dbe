"""Limits that a method gives itself: a band around a marking or a rating."""

from __future__ import annotations

from meterlog.base.units import QUANTITIES, show
from meterlog.judging.limit import Limit


def band(quantity: str, low: float | None, high: float | None, source: str, mark: str = "computed here") -> Limit:
    """A limit in SI, worded for a person."""
    unit = QUANTITIES[quantity].si
    if low is None:
        text = f"at most {show(high, unit)}" if high is not None else ""
    elif high is None:
        text = f"at least {show(low, unit)}"
    else:
        text = f"{show(low, unit)} .. {show(high, unit)}"
    return Limit(low=low, high=high, unit=unit, text=text, source=source, mark=mark)
