"""Everything of one job, read once, for the job page and for the sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base import units
from meterlog.procedure.steps import StepKind
from meterlog.record.acts import ActKind
from meterlog.report import procedures, wording
from meterlog.report.runs import heating_run, plot_of
from meterlog.store import queries

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection

QUIET_KINDS = {
    ActKind.JOB_OPENED,
    ActKind.JOB_CLOSED,
    ActKind.STEP_BEGAN,
    ActKind.LIFTED,
    ActKind.ACKNOWLEDGED,
    ActKind.PROOF,
    ActKind.STARTED,
    ActKind.TIMED,
}
"""Events that the card tells elsewhere, or that only the walk needs."""


def card_of(db: Connection, ref: str) -> dict[str, Any] | None:
    """Everything of a job, each capture and verdict with its step; None when there is no such job."""
    job = queries.job(db, ref)
    if job is None:
        return None
    procedure = procedures.read(job["procedure"], job["procedure_text"])
    steps = queries.steps(db, job["id"])
    first = frozenset(step["id"] for step in steps if procedures.first_counts(procedure, step["key"]))
    verdicts = queries.verdicts_of(db, job["id"])
    standing = queries.standing(verdicts, first)
    captures = queries.captures_of(db, job["id"])
    events = queries.events_of(db, job["id"])
    passed = {event["step"]: event["facts"] for event in events if event["kind"] == ActKind.PASSED}
    for step in steps:
        step["captures"] = [capture for capture in captures if capture["step"] == step["id"]]
        step["verdicts"] = [verdict for verdict in verdicts if verdict["step"] == step["id"]]
        step["verdict"] = standing.get(step["id"])
        step["shows"] = _shows(step)
        step["passed"] = passed.get(step["key"], {}).get("how", "")
        step["reason"] = passed.get(step["key"], {}).get("reason", "")
        step["run"] = heating_run(db, step["verdict"]["id"], step["kind"], step["key"]) if step["verdict"] else None
        step["plot"] = step["run"]["plot"] if step["run"] else _bare_plot(db, step)
    personal = queries.personal(db, job["id"])
    return {
        "job": job,
        "procedure": procedure,
        "steps": steps,
        "tally": {word: sum(1 for v in standing.values() if v["outcome"] == word) for word in queries.OUTCOMES},
        "personal": [field for field in personal if not field["is_photo"] and field["name"] != "note"],
        "photos": [_photo(field) for field in personal if field["is_photo"]],
        "notes": {field["digest"]: field["value"] for field in personal if field["name"] == "note"},
        "events": [event for event in events if event["kind"] not in QUIET_KINDS],
    }


def _shows(step: dict[str, Any]) -> str:
    """What was found, where it is not what an instrument showed: a power from a heating run, a ratio."""
    verdict, captures = step["verdict"], step["captures"]
    measured = units.QUANTITIES[captures[-1]["form"].quantity].si if captures else ""
    return wording.result(verdict) if verdict and verdict["unit"] != measured else ""


def _bare_plot(db: Connection, step: dict[str, Any]) -> str:
    """A heating run's trace alone; "" for any other step."""
    taken = [capture for capture in step["captures"] if capture["link"] is not None]
    return (
        plot_of(taken[-1], queries.readings_around(db, taken[-1])) if taken and step["kind"] == StepKind.HEATING else ""
    )


def _photo(field: dict[str, Any]) -> dict[str, Any]:
    """A photograph with its words: the daemon keeps "image/jpeg rating plate" as the field's value."""
    kind, _, words = field["value"].partition(" ")
    return {"digest": field["digest"], "kind": kind, "words": words or field["name"]}
