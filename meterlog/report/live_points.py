"""The live points that a job met: where, what stood there, when, and what was done about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.procedure.gates import rests_on
from meterlog.record.acts import ActKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meterlog.procedure.steps import Procedure

    Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class LivePointMet:
    """One live point. `where` are the points of its check, "" where none are named; `done` in words."""

    title: str
    where: str
    shown: str
    at_utc_ms: int
    done: str


def live_points(events: Sequence[Row], steps: Sequence[Row], procedure: Procedure | None) -> list[LivePointMet]:
    """Every live point of a job, in order of time; `steps` with their captures, verdicts and points."""
    by_key = {step["key"]: step for step in steps}
    return [
        LivePointMet(
            title=step["title"],
            where=step["points"],
            shown=event["facts"]["shown"],
            at_utc_ms=event["at_utc_ms"],
            done="; ".join((_seen(event, events), _proved(event, by_key, procedure))),
        )
        for event in events
        if event["kind"] == ActKind.LIVE_POINT and (step := by_key.get(event["step"]))
    ]


def _seen(live: Row, events: Iterable[Row]) -> str:
    """Who acknowledged it first."""
    after = (e for e in events if e["kind"] == ActKind.ACKNOWLEDGED and e["id"] > live["id"])
    found = next((each for each in after if each["step"] == live["step"]), None)
    return f"acknowledged ({found['facts'].get('who') or 'nobody named'})" if found else "acknowledged by nobody"


def _proved(live: Row, by_key: Mapping[str, Row], procedure: Procedure | None) -> str:
    """Whether all that shows those points dead passed after it."""
    if procedure is None:
        return "what was proved since can't be read any more"
    step = procedure.step(live["step"])
    proofs = [
        by_key[each.key]
        for each in procedure.steps
        if each.kind.proves_dead and each.key in {step.key, *rests_on(procedure, [step], past_mains=False)}
    ]
    since = (_passed_after(proof, live["at_utc_ms"]) for proof in proofs)
    return "proved dead since" if proofs and all(since) else "not proved dead since"


def _passed_after(proof: Row, at_utc_ms: int) -> bool:
    return any(each["outcome"] == "pass" and each["at_utc_ms"] > at_utc_ms for each in proof["verdicts"])
