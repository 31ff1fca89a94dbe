"""Jobs, steps and verdicts as rows of a table, for commands: one value a column, by its name."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo, WrongText
from meterlog.judging import Outcome
from meterlog.record.acts import ActKind
from meterlog.record.outcome import outcome_of
from meterlog.record.revisit import Revisit
from meterlog.record.standing import standing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.base.readings import Capture, Form
    from meterlog.record.kept import CaptureRecord, JobRecord, StepRecord, VerdictRecord
    from meterlog.record.outcome import JobOutcome
    from meterlog.record.reader import RecordReader

Row = dict[str, Any]

JOBS_LISTED = 20


def shown(form: Form, counts: int | None) -> str:
    """The digits exactly as they were displayed, with the bound before them."""
    return (f"{form.bound} " if form.bound else "") + form.digits(counts)


def job_of(reader: RecordReader, ref: str) -> JobRecord:
    """The job of a reference. Raises: CannotDo when there is none."""
    job = reader.job(ref)
    if job is None:
        raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list")
    return job


def newest_job(reader: RecordReader) -> str:
    """The reference of the job that was opened last. Raises: CannotDo when there is none."""
    jobs = reader.jobs(most=1)
    if not jobs:
        raise CannotDo("no job is kept yet", "open one with: meterlog job open PROCEDURE")
    return jobs[0].ref


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSummary:
    """A job with its complaint, "" where there is none, and how many steps stand at each outcome."""

    job: JobRecord
    complaint: str
    tally: Mapping[Outcome, int]


def job_summary(reader: RecordReader, job: JobRecord) -> JobSummary:
    """A job in a list of jobs."""
    tally = Counter(verdict.outcome for verdict in standing(reader.verdicts(job.id)).values())
    complaint = next((field.value for field in reader.personal(job.id) if field.name == "complaint"), "")
    return JobSummary(job=job, complaint=complaint, tally={outcome: tally[outcome] for outcome in Outcome})


def jobs(reader: RecordReader, most: int = JOBS_LISTED) -> list[Row]:
    """The last jobs, the newest first, with tallies of the verdicts that count."""
    return [_job(job_summary(reader, job)) for job in reader.jobs(most=most)]


def _job(found: JobSummary) -> Row:
    opened = datetime.fromtimestamp(found.job.opened_utc_ms // 1000, UTC).strftime("%Y-%m-%d %H:%M")
    counts = {str(outcome): count for outcome, count in found.tally.items() if outcome is not Outcome.NOT_JUDGED}
    return {"ref": found.job.ref, "appliance": found.job.appliance, "opened": opened, **counts}


def steps(reader: RecordReader, ref: str) -> list[Row]:
    """A job's steps in order, each with the verdict that counts and its capture, or with its captures.

    A step without either says how it was passed (looked, skipped …), and the reason that was given.
    """
    job = job_of(reader, ref).id
    captures, counts = reader.captures(job), standing(reader.verdicts(job))
    passed = {act.step: act.facts for act in reader.acts(job, [ActKind.PASSED])}
    rows = []
    for step in reader.steps(job):
        verdict = counts.get(step.id)
        wanted = [c for c in captures if (c.id == verdict.capture if verdict else c.step == step.id)]
        if wanted:
            rows += [_step(step, capture, verdict, {}) for capture in wanted]
        else:
            rows.append(_step(step, None, verdict, passed.get(step.id, {})))
    return rows


def _step(
    step: StepRecord, capture: CaptureRecord | None, verdict: VerdictRecord | None, left: Mapping[str, Any]
) -> Row:
    display = _display(capture)
    return {
        "step": step.key,
        "title": step.title,
        "points": step.points,
        "limits": step.limits,
        "capture": capture.id if capture else None,
        "shown": shown(display.form, display.counts) if display else None,
        "unit": display.form.unit if display else None,
        "typed": capture.capture.typed.instrument if capture and capture.capture.typed else None,
        "verdict": verdict.id if verdict else None,
        "outcome": verdict.outcome if verdict else left.get("how"),
        "why": verdict.why if verdict else left.get("reason"),
    }


def outcome(reader: RecordReader, ref: str) -> JobOutcome:
    """What a job amounts to. Raises: CannotDo when there is none."""
    job = job_of(reader, ref)
    try:
        procedure = Revisit(reader).procedure(job.procedure)
    except (KeyError, WrongText):
        procedure = None
    return outcome_of(reader, ref, procedure)


def outcome_lines(found: JobOutcome) -> list[str]:
    """An outcome for a screen: the first line, the tally, and each check that did not come out well."""
    return [
        found.says,
        ", ".join(f"{number} {words}" for words, number in found.tally),
        *(
            f"  {check.key}: {check.title}: {check.words}{_because(check.reason)}{_else(check.hint)}"
            for check in found.unanswered
        ),
        *(
            f"  {gate.title}: gone on without {', '.join(gate.needs)}{_because(gate.reason)}"
            for gate in found.overridden
        ),
    ]


def _else(hint: str) -> str:
    return f"; {hint}" if hint else ""


def _because(reason: str) -> str:
    return f" ({reason})" if reason else ""


def _display(kept: CaptureRecord | None) -> Capture | None:
    """The capture whose display is what was measured; None of a run, of which no one reading is."""
    return kept.capture if kept and not kept.capture.is_run else None


def conclusions(reader: RecordReader) -> list[Row]:
    """Every verdict in the order in which it was reached, and what superseded it."""
    refs = {job.id: job.ref for job in reader.jobs()}
    keys = {step.id: step.key for job in refs for step in reader.steps(job)}
    captures = {capture.id: capture for capture in reader.captures()}
    verdicts = reader.verdicts()
    later = {verdict.supersedes: verdict.id for verdict in verdicts}
    rows = []
    for verdict in verdicts:
        display = _display(captures.get(verdict.capture) if verdict.capture is not None else None)
        rows.append(
            {
                "job": refs[verdict.job],
                "step": keys[verdict.step],
                "shown": shown(display.form, display.counts) if display else None,
                "unit": display.form.unit if display else None,
                "result": verdict.result,
                "outcome": verdict.outcome,
                "verdict": verdict.id,
                "superseded_by": later.get(verdict.id),
            }
        )
    return rows
