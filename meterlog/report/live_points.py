"""The live points that a job met: where, what stood there, when, and what was done about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.procedure.gates import rests_on
from meterlog.record.acts import ActKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meterlog.procedure.steps import Procedure
    from meterlog.record.kept import ActRecord
    from meterlog.report.card import StepCard


@dataclass(frozen=True, slots=True, kw_only=True)
class LivePointMet:
    """One live point. `where` are the points of its check, "" where none are named; `done` in words."""

    title: str
    where: str
    shown: str
    at_utc_ms: int
    done: str


def live_points(
    acts: Sequence[ActRecord], steps: Sequence[StepCard], procedure: Procedure | None
) -> list[LivePointMet]:
    """Every live point of a job, in order of time."""
    by_id = {card.step.id: card for card in steps}
    by_key = {card.key: card for card in steps}
    return [
        LivePointMet(
            title=card.title,
            where=card.step.points,
            shown=act.facts["shown"],
            at_utc_ms=act.at_utc_ms,
            done="; ".join((_seen(act, acts), _proved(act.at_utc_ms, card.key, by_key, procedure))),
        )
        for act in acts
        if act.kind == ActKind.LIVE_POINT and act.step is not None and (card := by_id.get(act.step))
    ]


def _seen(live: ActRecord, acts: Iterable[ActRecord]) -> str:
    """Who acknowledged it first."""
    after = (act for act in acts if act.kind == ActKind.ACKNOWLEDGED and act.id > live.id)
    found = next((act for act in after if act.step == live.step), None)
    return f"acknowledged ({found.facts.get('who') or 'nobody named'})" if found else "acknowledged by nobody"


def _proved(at_utc_ms: int, key: str, by_key: Mapping[str, StepCard], procedure: Procedure | None) -> str:
    """Whether all that shows those points dead passed after it."""
    if procedure is None:
        return "what was proved since can't be read any more"
    step = procedure.step(key)
    proofs = [
        by_key[each.key]
        for each in procedure.steps
        if each.kind.proves_dead and each.key in {step.key, *rests_on(procedure, [step], past_mains=False)}
    ]
    since = (any(v.outcome == "pass" and v.at_utc_ms > at_utc_ms for v in proof.verdicts) for proof in proofs)
    return "proved dead since" if proofs and all(since) else "not proved dead since"
