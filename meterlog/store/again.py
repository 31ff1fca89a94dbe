"""A kept job concluded again under another procedure, rule or jurisdiction: new verdicts beside the old."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.errors import CannotDo
from meterlog.base.source import near_miss
from meterlog.files.shipped import find, text_of
from meterlog.judging.limit import Rule
from meterlog.procedure.case import Case, conclude
from meterlog.procedure.language import read_procedure
from meterlog.store.keptjob import kept_job
from meterlog.store.writer import canonical

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.judging import Verdict
    from meterlog.store.batch import Now
    from meterlog.store.keptjob import KeptCapture, KeptJob
    from meterlog.store.sqlite import Connection
    from meterlog.store.writer import Writer


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """One step concluded again: the verdict that counted (0 for none), and what it comes to now."""

    step: str
    superseded: int
    before: str
    verdict: Verdict

    def as_dict(self) -> dict[str, Any]:
        return {
            "step": self.step,
            "before": self.before or None,
            "now": str(self.verdict.outcome),
            "supersedes": self.superseded or None,
            "why": self.verdict.why,
        }


CHANGES = ("procedure", "where", "rule")
"""What a job may be concluded under instead of its own, each "" for its own."""


def under(db: Connection, ref: str, changes: Mapping[str, str]) -> KeptJob:
    """A kept job as it would stand under another procedure (key or path), jurisdiction or decision rule.

    Raises: CannotDo when there is no such job, procedure, jurisdiction or rule; WrongText for a wrong procedure.
    """
    try:
        kept = kept_job(db, ref)
    except KeyError:
        raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list") from None
    if changes["procedure"]:
        path = find(changes["procedure"], "profiles/procedures")
        kept = replace(kept, procedure=read_procedure(text_of(path), str(path)))
    where = changes["where"] or kept.where
    if where and where not in kept.procedure.where:
        raise CannotDo(f"this procedure has no limits for {where!r}", near_miss(where, kept.procedure.where))
    rules = {str(rule): rule for rule in Rule}
    name = changes["rule"].replace("-", " ")
    if name and name not in rules:
        raise CannotDo(f"there is no decision rule {name!r}", near_miss(name, rules))
    return replace(kept, where=where, rule=rules.get(name))


def case_of(kept: KeptJob) -> Case:
    """A kept job's case, from the captures that count."""
    return Case(
        procedure=kept.procedure,
        where=kept.where,
        rule=kept.rule,
        entries=kept.entries,
        answers={key: each.answer for key, each in _counting(kept).items()},
    )


def concluded_again(db: Connection, kept: KeptJob) -> list[Again]:
    """Every step with a capture or a verdict that comes to something else now than what counts."""
    case, found = case_of(kept), []
    for step in kept.procedure.steps:
        if step.key not in case.answers and step.key not in kept.verdicts:
            continue
        number = kept.verdicts.get(step.key, 0)
        row = db.execute("SELECT outcome, result FROM verdict WHERE id = ?", [number]).fetchone()
        verdict = conclude(case, step)
        if row is None or json.loads(verdict.to_json()) != json.loads(row["result"]):
            before = row["outcome"] if row else ""
            found.append(Again(step=step.key, superseded=number, before=before, verdict=verdict))
    return found


def supersede(
    writer: Writer, kept: KeptJob, found: Iterable[Again], reason: str, now: Now, who: str, whence: str
) -> None:
    """Keep what was concluded again beside what it supersedes, with the reason; the caller commits."""
    job, steps = writer.resume_job(kept.ref)
    counting = _counting(kept)
    procedure = writer.keep_text("procedure", kept.procedure.key, kept.procedure.text)
    captures = {key: each.number for key, each in counting.items()}
    context = {"where": kept.where, "entries": dict(kept.entries), "captures": captures}
    if kept.rule is not None:
        context["rule"] = str(kept.rule)
    facts = {"reason": reason, "procedure": procedure, "where": kept.where, "rule": str(kept.rule or "")}
    writer.event("concluded again", now, facts, job=job, who=who, whence=whence)
    for again in (each for each in found if each.step in steps):
        taken = counting.get(again.step)
        row = {
            "outcome": str(again.verdict.outcome),
            "why": again.verdict.why,
            "result": again.verdict.to_json(),
            "context": canonical(context),
            "procedure": procedure,
            "profile": taken.profile if taken else None,
            "facts": taken.facts if taken else None,
            "program": __version__,
            "supersedes": again.superseded or None,
            "reason": reason,
        }
        writer.verdict(job, steps[again.step], taken.number if taken else None, row, now)


def _counting(kept: KeptJob) -> dict[str, KeptCapture]:
    """By step key, the capture that counts by the step's own rule."""
    first = {step.key for step in kept.procedure.steps if step.counts == "first"}
    known = {step.key for step in kept.procedure.steps}
    counting: dict[str, KeptCapture] = {}
    for each in kept.captures:
        if each.step in known and (each.step not in first or each.step not in counting):
            counting[each.step] = each
    return counting
