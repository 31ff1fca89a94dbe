"""The step at hand in words: what the walk says, with the procedure's text and the limit as a scale.

Every sentence is derived from the walk's snapshot and the record as they stand now, and goes with them.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from meterlog.base import units
from meterlog.procedure.entries import entry_values, examples_of
from meterlog.procedure.kinds import KINDS, Watched
from meterlog.record.history import is_compared, model_of
from meterlog.record.outcome import outcome_of
from meterlog.report import healthy, procedures, wording
from meterlog.store import queries
from meterlog.store.reader import StoredRecord
from meterlog.web.scale import scale_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.judging.limit import Limit
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.store.sqlite import Connection

STOPPING = ("fail", "undecided")
"""Outcomes that stay on the screen until they are seen."""
SPOKEN = (Watched.SETTLED, Watched.AT_TIME)
"""What watches a step whose one reading lies inside the limit or does not; a proof needs more than that."""


def at_hand(db: Connection, walk: Mapping[str, Any], seen: int = 0) -> dict[str, Any] | None:
    """Everything that the bench page shows of a walk's moment; None when the record holds no such job.

    `seen`: the number of the last verdict that was seen on this screen.
    """
    job = queries.job(db, walk["job"])
    if job is None:
        return None
    procedure = procedures.read(job["procedure"], job["procedure_text"])
    key = walk["step"]
    step = procedures.step(procedure, key) if key else None
    where, plate = queries.where_of(db, job["id"]), {**job["plate"], **queries.entered(db, job["id"])}
    limit = _limit(procedure, step, where, plate)
    said = queries.verdict_of_step(db, job["id"], key) if key else None
    return {
        "walk": walk,
        "step": step,
        "position": next((n for n, each in enumerate(walk["steps"], 1) if each["key"] == key), None),
        "title": step.title if step else walk["title"],
        "cautions_were_read": walk["phase"] not in ("cautions", "done"),
        "mains": _mains(walk["phase"], step),
        "needs": _needs(walk, procedure),
        "limit": limit,
        "scale": _scale(step, limit),
        "is_spoken": step is not None and step.kind.watched in SPOKEN and walk["phase"] == "watch",
        "elapsed_s": since(walk["started"], time.monotonic()) if walk["phase"] == "run" else None,
        "alerts": alerts(db, job["id"], procedure, where, plate, seen),
        "said": said,
        "here": [e for e in walk["steps"] if e["key"] == key and e["captures"] and e["shown"] is not None],
        "found": wording.result(said) if said and step and step.kind.is_run else "",
        "examples": {name: examples_of(procedure, name) for name in walk["asks"]} if procedure else {},
        "alike": _alike(db, job, step, plate, said) if step and walk["phase"] != "done" else None,
        "outcome": outcome_of(StoredRecord(db), walk["job"], procedure) if walk["phase"] == "done" else None,
    }


def _alike(
    db: Connection, job: Mapping[str, Any], step: Step, plate: Mapping[str, str], said: Mapping[str, Any] | None
) -> healthy.LikeIt | None:
    """What healthy ones of this job's model read at the step at hand, and what it read itself beside them."""
    if not step.quantity or not is_compared(step.kind) or not model_of(plate)[1]:
        return None
    measured = healthy.measurements(db, step.key, job["appliance"])
    si = measured[-1].unit if measured else units.QUANTITIES[step.quantity].si
    value, unit = (said["value"], said["unit"] or si) if said else (None, si)
    return healthy.like(measured, model_of(plate), unit, job=job["ref"], value=value)


def alerts(
    db: Connection, job: int, procedure: Procedure | None, where: str, plate: Mapping[str, str], seen: int
) -> list[dict[str, Any]]:
    """What failed or stayed undecided since `seen` and still stands, newest first, with what it usually means."""
    found = [v for v in queries.standing_of(db, job) if v["outcome"] in STOPPING and v["id"] > seen]
    for verdict in found:
        step = procedures.step(procedure, verdict["key"])
        limit = _limit(procedure, step, where, plate)
        verdict |= {
            "meaning": step.meaning if step else "",
            "points": " – ".join(step.points) if step else "",
            "wanted": limit.text if limit else "",
            "shows": _shows(db, verdict),
        }
    return sorted(found, key=lambda verdict: -verdict["id"])


def _shows(db: Connection, verdict: Mapping[str, Any]) -> str:
    """What a verdict's capture showed; what was found, where that is worked out from many readings."""
    capture = queries.capture(db, verdict["capture"]) if verdict["capture"] is not None else None
    return wording.result(verdict) if capture is None or capture["timing"] else wording.display(capture)


def _needs(walk: Mapping[str, Any], procedure: Procedure | None) -> list[tuple[str, str]]:
    """Key and title of what a step at its gate waits for; for the proof of dead, the first step that gives it."""
    dead = [each["key"] for each in walk["steps"] if KINDS[each["kind"]].proves_dead and each["state"] != "pass"]
    proof = [(dead[0] if dead else "", "the proof that it is dead")]
    return [pair for need in walk["needs"] for pair in ([(need, _title(procedure, need))] if need else proof)]


def _title(procedure: Procedure | None, key: str) -> str:
    step = procedures.step(procedure, key)
    return step.title if step else key


def _mains(phase: str, step: Step | None) -> str:
    """What is said of the mains: before, while it runs, and after nothing that nobody knows."""
    if step is None or not step.energised or phase not in ("cautions", "gate", "look", "watch", "start", "run"):
        return ""
    return "mains is on" if phase == "run" else "with mains on"


def since(started: float | None, now: float) -> float | None:
    """How long it runs, s; None before it began, and on the clock of a recording that is played faster than it went."""
    return now - started if started is not None and started <= now else None


def _scale(step: Step | None, limit: Limit | None) -> Any:
    return scale_of(limit, units.QUANTITIES[step.quantity].si) if step and step.quantity else None


def _limit(procedure: Procedure | None, step: Step | None, where: str, plate: Mapping[str, str]) -> Limit | None:
    limit = step.limit_for(where) if step else None
    if limit is None or procedure is None or not limit.of:
        return limit
    try:
        return limit.against(entry_values(procedure, plate))
    except KeyError:
        return limit
