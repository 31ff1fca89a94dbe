"""A kept job concluded again under another procedure, rule or jurisdiction: new verdicts beside the old."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog import __version__
from meterlog.base.errors import CannotDo
from meterlog.base.source import near_miss
from meterlog.judging.limit import Rule
from meterlog.procedure.case import Case, conclude
from meterlog.record.acts import ActKind
from meterlog.record.audit import says_the_same
from meterlog.record.kept import VerdictBasis
from meterlog.record.keptjob import kept_job

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meterlog.judging import Verdict
    from meterlog.procedure.steps import Procedure
    from meterlog.record.keptjob import KeptCapture, KeptJob
    from meterlog.record.reader import RecordReader
    from meterlog.record.writer import Now, RecordWriter


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """One step concluded again: the verdict that counted (0 for none), and what it comes to now."""

    step: str
    superseded: int
    before: str
    verdict: Verdict

    def as_row(self) -> dict[str, str | int | None]:
        """It in one line of a table."""
        return {
            "step": self.step,
            "before": self.before or None,
            "now": str(self.verdict.outcome),
            "supersedes": self.superseded or None,
            "why": self.verdict.why,
        }


def under(
    reader: RecordReader, ref: str, *, procedure: Procedure | None = None, where: str = "", rule: str = ""
) -> KeptJob:
    """A kept job as it would stand under another procedure, jurisdiction or decision rule; "" for its own.

    Raises: CannotDo when there is no such job, jurisdiction or rule.
    """
    try:
        kept = kept_job(reader, ref)
    except KeyError:
        raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list") from None
    if procedure is not None:
        kept = replace(kept, procedure=procedure)
    where = where or kept.where
    if where and where not in kept.procedure.where:
        raise CannotDo(f"this procedure has no limits for {where!r}", near_miss(where, kept.procedure.where))
    rules = {str(each): each for each in Rule}
    name = rule.replace("-", " ")
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


def concluded_again(reader: RecordReader, kept: KeptJob) -> list[Again]:
    """Every step with a capture or a verdict that comes to something else now than what counts."""
    case, found = case_of(kept), []
    verdicts = {verdict.id: verdict for verdict in reader.verdicts(kept.number)}
    for step in kept.procedure.steps:
        if step.key not in case.answers and step.key not in kept.verdicts:
            continue
        number = kept.verdicts.get(step.key, 0)
        before = verdicts.get(number)
        verdict = conclude(case, step)
        if before is None or not says_the_same(json.loads(before.result), json.loads(verdict.to_json())):
            was = before.outcome if before else ""
            found.append(Again(step=step.key, superseded=number, before=was, verdict=verdict))
    return found


def supersede(
    writer: RecordWriter, kept: KeptJob, found: Iterable[Again], reason: str, now: Now, who: str, whence: str
) -> dict[str, int]:
    """Keep what was concluded again beside what it supersedes, with the reason; the caller commits.

    Answers the new verdicts' numbers by step key.
    """
    numbers: dict[str, int] = {}
    job, steps = writer.resume_job(kept.ref)
    chosen = _counting(kept)
    procedure = writer.keep_text("procedure", kept.procedure.key, kept.procedure.text)
    captures = {key: each.number for key, each in chosen.items()}
    basis = VerdictBasis(captures=captures, entries=kept.entries, where=kept.where, rule=str(kept.rule or ""))
    facts = {"reason": reason, "procedure": procedure, "where": kept.where, "rule": str(kept.rule or "")}
    writer.event(ActKind.CONCLUDED_AGAIN, now, facts, job=job, who=who, whence=whence)
    for again in (each for each in found if each.step in steps):
        taken = chosen.get(again.step)
        row = {
            "outcome": str(again.verdict.outcome),
            "why": again.verdict.why,
            "result": again.verdict.to_json(),
            "context": basis.to_json(),
            "procedure": procedure,
            "profile": taken.profile if taken else None,
            "facts": taken.facts if taken else None,
            "program": __version__,
            "supersedes": again.superseded or None,
            "reason": reason,
        }
        capture = taken.number if taken else None
        numbers[again.step] = writer.verdict(job, steps[again.step], capture, row, now)
    return numbers


def _counting(kept: KeptJob) -> dict[str, KeptCapture]:
    """By step key, the capture that counts by the step's own rule."""
    found = {}
    for step in kept.procedure.steps:
        chosen = step.counting([each for each in kept.captures if each.step == step.key])
        if chosen is not None:
            found[step.key] = chosen
    return found
