"""How likely each fault and each part is, after what was found: Bayes' rule over the model's faults.

Two ways to reckon it: plainly, for deciding, and guarded, for showing. Weights are guesses, checks err together and
appliances have faults nobody listed, so that what is shown must be more careful than what decides.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from math import log
from typing import TYPE_CHECKING

from meterlog.diagnosis.model import SOMETHING_ELSE, CheckOutcome

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from meterlog.diagnosis.model import Model, ModelledCheck

RATIO_CAP = 12.0
"""Guarded, one finding speaks at most twelve to one. Calibrated on simulated models; no source outside."""

LEAST_ELSE = 0.12
"""Guarded, something else is never less likely than this. Calibrated on simulated models; no source outside."""

MOST_SHOWN = 0.9
"""No part is ever shown as more likely than nine in ten."""

CONFLICT = 20.0
"""Evidence that is so many times likelier under something else than under any named fault does not fit the model."""


@dataclass(frozen=True, slots=True)
class Belief:
    """Weights of a model's faults in the order of `Model.fault_keys`; they need not add to one."""

    model: Model
    weights: tuple[float, ...]

    @classmethod
    def prior(cls, model: Model, renewed: Collection[str] = ()) -> Belief:
        """Before any finding; faults of parts that were renewed in vain are out."""
        named = [0.0 if fault.part in renewed else fault.weight for fault in model.faults]
        return cls(model, (*named, model.else_weight))

    def after(self, check: ModelledCheck, finding: CheckOutcome) -> Belief:
        """With one more finding."""
        return Belief(self.model, _times(self.weights, _likelihoods(self.model, check, finding)))

    @property
    def probabilities(self) -> dict[str, float]:
        """Each fault's probability by key."""
        total = sum(self.weights)
        return {key: weight / total for key, weight in zip(self.model.fault_keys, self.weights, strict=True)}

    @property
    def parts(self) -> dict[str, float]:
        """Each part's probability of being the one to renew, in the model's order; `SOMETHING_ELSE` last."""
        total = sum(self.weights)
        return {name: weight / total for name, weight in part_weights(self.model, self.weights).items()}


def part_weights(model: Model, weights: tuple[float, ...]) -> dict[str, float]:
    """The weights of faults put together by the part that they are faults of."""
    by_part = {part.name: 0.0 for part in model.parts}
    for fault, weight in zip(model.faults, weights, strict=False):
        by_part[fault.part] += weight
    by_part[SOMETHING_ELSE] = weights[-1]
    return by_part


def posterior(model: Model, findings: Mapping[str, CheckOutcome], renewed: Collection[str] = ()) -> Belief:
    """The belief that decides: every finding at its full weight, of each evidence group only the strongest."""
    belief = Belief.prior(model, renewed)
    for check, finding in _that_count(model, findings):
        belief = belief.after(check, finding)
    return belief


def guarded(model: Model, findings: Mapping[str, CheckOutcome], renewed: Collection[str] = ()) -> Belief:
    """The belief that is shown: ratios capped, and a share kept for what nobody listed."""
    weights = Belief.prior(model, renewed).weights
    for check, finding in _that_count(model, findings):
        ratios = _likelihoods(model, check, finding)
        least = max(ratios) / RATIO_CAP
        weights = _times(weights, tuple(max(ratio, least) for ratio in ratios))
    named = sum(weights[:-1])
    least_else = named * LEAST_ELSE / (1.0 - LEAST_ELSE)
    return Belief(model, (*weights[:-1], max(weights[-1], least_else)))


def does_not_fit(model: Model, findings: Mapping[str, CheckOutcome]) -> bool:
    """Whether what was found is far likelier under something else than under every named fault."""
    weights = (1.0,) * (len(model.faults) + 1)
    for check, finding in _that_count(model, findings):
        weights = _times(weights, _likelihoods(model, check, finding))
    return max(weights[:-1], default=0.0) * CONFLICT < weights[-1]


def _that_count(model: Model, findings: Mapping[str, CheckOutcome]) -> list[tuple[ModelledCheck, CheckOutcome]]:
    """The findings that count: every one without a group, and the strongest of each group."""
    counting: list[tuple[ModelledCheck, CheckOutcome]] = []
    grouped: dict[str, list[tuple[ModelledCheck, CheckOutcome]]] = defaultdict(list)
    for check in model.checks:
        if check.key in findings:
            (grouped[check.group] if check.group else counting).append((check, findings[check.key]))
    return counting + [max(members, key=lambda pair: _strength(model, *pair)) for members in grouped.values()]


def _strength(model: Model, check: ModelledCheck, finding: CheckOutcome) -> float:
    ratios = _likelihoods(model, check, finding)
    return log(max(ratios) / min(ratios))


def _likelihoods(model: Model, check: ModelledCheck, finding: CheckOutcome) -> tuple[float, ...]:
    return tuple(check.likelihood(key, finding) for key in model.fault_keys)


def _times(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(x * y for x, y in zip(a, b, strict=True))
