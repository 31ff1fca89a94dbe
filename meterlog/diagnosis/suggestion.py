"""The next check: the one that tells most for its minutes, or that more measuring is not worth it.

A suggestion is no verdict and enters none; the person may do otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.diagnosis.belief import does_not_fit, guarded, posterior
from meterlog.diagnosis.worth import Bench, renewal_order

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from meterlog.diagnosis.belief import Belief
    from meterlog.diagnosis.model import CheckOutcome, Model, ModelledCheck

NEARLY_EQUAL = 0.9
"""Checks that tell nine tenths of the best a minute are as good: the procedure's order decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """What to do next, and what that rests on.

    Attributes:
        check: the check to do next; None when more measuring is not worth it.
        runners_up: the next best two, best first.
        minutes: what the check takes with its set-ups, min.
        shown: how likely each part is, guarded, for showing; `deciding` the belief that decided.
        renew: parts in the order in which renewing them costs least, when measuring stops.
        misfit: what was found does not fit the model: look again, for something nobody listed.
    """

    check: ModelledCheck | None
    runners_up: tuple[ModelledCheck, ...]
    minutes: float
    bits_a_minute: Mapping[str, float]
    deciding: Belief
    shown: Belief
    renew: tuple[str, ...]
    misfit: bool


def suggest(
    model: Model,
    findings: Mapping[str, CheckOutcome],
    *,
    allowed: Collection[str] | None = None,
    opened: Collection[str] = (),
    renewed: Collection[str] = (),
) -> Suggestion:
    """The next check after these findings, by key of their checks.

    Args:
        allowed: keys of the checks that may be suggested; None: all. What was found is never suggested again.
        opened: set-ups that are there without a finding; those of the findings' checks are.
        renewed: parts that were renewed in vain.
    """
    belief = posterior(model, findings, renewed)
    ready = {*opened, *(name for check in model.checks if check.key in findings for name in check.set_ups)}
    left = [c for c in model.checks if c.key not in findings and (allowed is None or c.key in allowed)]
    misfit = does_not_fit(model, findings)
    for tier in sorted({check.tier for check in left}):
        bench = Bench(belief, [check for check in left if check.tier == tier], ready)
        if not misfit and bench.is_worth_it:
            return _chosen(bench, belief, guarded(model, findings, renewed))
    return Suggestion(
        check=None,
        runners_up=(),
        minutes=0.0,
        bits_a_minute={},
        deciding=belief,
        shown=guarded(model, findings, renewed),
        renew=tuple(renewal_order(belief)),
        misfit=misfit,
    )


def _chosen(bench: Bench, belief: Belief, shown: Belief) -> Suggestion:
    scores = {check.key: bench.per_minute(check) for check in bench.checks}
    first, *others = _ranked(bench.checks, scores)
    return Suggestion(
        check=first,
        runners_up=tuple(others[:2]),
        minutes=bench.minutes((first,)),
        bits_a_minute=scores,
        deciding=belief,
        shown=shown,
        renew=(),
        misfit=False,
    )


def _ranked(checks: Sequence[ModelledCheck], scores: Mapping[str, float]) -> list[ModelledCheck]:
    """Best first; of those nearly equal to the best, the first in the procedure's order."""
    best = max(scores.values())
    first = next(check for check in checks if scores[check.key] >= NEARLY_EQUAL * best)
    return [first, *sorted((c for c in checks if c is not first), key=lambda check: -scores[check.key])]
