"""Everything of one job, read once, for the job page and for the sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base import units
from meterlog.procedure.kinds import KINDS, Opens
from meterlog.record.acts import ActKind
from meterlog.record.outcome import WHOLE, outcome_of
from meterlog.report import procedures, wording
from meterlog.report.doings import doings
from meterlog.report.runs import heating_run, plot_of
from meterlog.store import queries
from meterlog.store.reader import StoredRecord

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.store.sqlite import Connection

ROOMS = (
    ("Looked over and made safe", "look", "leads", "dead"),
    ("Inside, without power", "inside"),
    ("From outside, without power", "outside"),
    ("Under power", "energised"),
    ("Worked out", "derived"),
)
"""Where a check takes place, in words, and what tells it: a kind of step or a place."""


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
    outcome = outcome_of(StoredRecord(db), ref, procedure)
    states = {check.key: check.state for check in outcome.checks}
    for step in steps:
        step["captures"] = [capture for capture in captures if capture["step"] == step["id"]]
        step["verdicts"] = [verdict for verdict in verdicts if verdict["step"] == step["id"]]
        step["verdict"] = standing.get(step["id"])
        step["shows"] = _shows(step)
        step["passed"] = passed.get(step["key"], {}).get("how", "")
        step["reason"] = passed.get(step["key"], {}).get("reason", "")
        step["state"] = states.get(step["key"], "")
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
        "notes": _notes(personal),
        "events": events,
        "doings": doings(events, {step["key"]: step["title"] for step in steps}, _notes(personal)),
        "outcome": outcome,
        "rooms": rooms(steps, procedure),
    }


def rooms(steps: list[dict[str, Any]], procedure: Procedure | None) -> list[dict[str, Any]]:
    """The checks by where they take place, in their order: `title`, `steps`, and how many are `open`."""
    found = []
    for title, *places in ROOMS:
        here = [step for step in steps if _place(procedures.step(procedure, step["key"]), procedure) in places]
        if here:
            found.append({"title": title, "steps": here, "open": sum(1 for step in here if step["state"] not in WHOLE)})
    return found


def _place(step: Step | None, procedure: Procedure | None) -> str:
    if step is None or procedure is None:
        return "outside"
    if step.energised:
        return "energised"
    if step.kind.is_left_in_words or step.kind.opens is Opens.COMPUTED:
        return step.kind.name
    inside = {point.name for point in procedure.points if point.is_inside}
    return "inside" if inside & set(step.points) else "outside"


def _notes(personal: list[dict[str, Any]]) -> dict[str, str]:
    return {field["digest"]: field["value"] for field in personal if field["name"] == "note"}


def _shows(step: dict[str, Any]) -> str:
    """What was found, where it is not what an instrument showed: a power from a heating run, a ratio."""
    verdict, captures = step["verdict"], step["captures"]
    measured = units.QUANTITIES[captures[-1]["form"].quantity].si if captures else ""
    return wording.result(verdict) if verdict and verdict["unit"] != measured else ""


def _bare_plot(db: Connection, step: dict[str, Any]) -> str:
    """A heating run's trace alone; "" for any other step."""
    taken = [capture for capture in step["captures"] if capture["link"] is not None]
    return plot_of(taken[-1], queries.readings_around(db, taken[-1])) if taken and KINDS[step["kind"]].is_run else ""


def _photo(field: dict[str, Any]) -> dict[str, Any]:
    """A photograph with its words: the daemon keeps "image/jpeg rating plate" as the field's value."""
    kind, _, words = field["value"].partition(" ")
    return {"digest": field["digest"], "kind": kind, "words": words or field["name"]}
