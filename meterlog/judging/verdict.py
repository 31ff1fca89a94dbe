"""The verdict: pass, fail, undecided or not judged, with everything that it was reached from."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from meterlog.base.uncertainty import BudgetLine
from meterlog.judging.limit import Limit


class Outcome(StrEnum):
    """What a verdict says."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The answer to one check. Values in SI, in `unit`; None where it has no meaning.

    Attributes:
        why: one plain sentence.
        quantity: a name of `units.QUANTITIES`; unit: its SI unit.
        value: the result; None when it is a bound or was not taken.
        bound, edge: "above" or "below", and the value beyond which the truth lies.
        standard_uncertainty, expanded_uncertainty, coverage_factor: u, U and k = U/u.
        degrees_of_freedom: effective; None when nothing limits them.
        probability: that the true value lies inside the limits, as far as the meter can say.
        limit: what it was held against.
        rule: the decision rule in words; acceptance: (low, high) between which a value passes.
        budget: a line an error, the largest first.
        trail: the arithmetic, line by line, with the numbers in.
        advice: what would decide it, or make it surer; "" when nothing is wanted.
    """

    outcome: Outcome
    why: str
    quantity: str = ""
    unit: str = ""
    value: float | None = None
    bound: str = ""
    edge: float | None = None
    standard_uncertainty: float | None = None
    expanded_uncertainty: float | None = None
    coverage_factor: float | None = None
    degrees_of_freedom: float | None = None
    probability: float | None = None
    limit: Limit | None = None
    rule: str = ""
    acceptance: tuple[float | None, float | None] = (None, None)
    budget: tuple[BudgetLine, ...] = ()
    trail: tuple[str, ...] = ()
    advice: str = ""

    def as_dict(self) -> dict[str, Any]:
        """The verdict as plain dicts, lists, texts and numbers."""
        return asdict(self)

    def to_json(self) -> str:
        """One line of JSON from which `from_json` gives this verdict again, every float exact."""
        return json.dumps(self.as_dict(), ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Verdict:
        """The verdict that `to_json` wrote. Raises: ValueError, KeyError or TypeError when it did not."""
        known = json.loads(text)
        limit = known.pop("limit")
        low, high = known.pop("acceptance")
        return cls(
            outcome=Outcome(known.pop("outcome")),
            limit=Limit(**limit) if limit else None,
            acceptance=(low, high),
            budget=tuple(BudgetLine(**line) for line in known.pop("budget")),
            trail=tuple(known.pop("trail")),
            **known,
        )
