"""The step at hand in words: what the walk says, with the procedure's text and the limit as a scale.

Every sentence is derived from the walk's snapshot and the record as they stand now, and goes with them.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.procedure.entries import entry_values, examples_of
from meterlog.procedure.kinds import KINDS, Watched
from meterlog.record import outcome
from meterlog.record.history import is_compared, model_of
from meterlog.record.keptjob import STATES, stated_of
from meterlog.record.standing import standing
from meterlog.report import healthy, procedures, wording
from meterlog.web.next_check import suggested
from meterlog.web.scale import scale_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.judging.limit import Limit
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.record.kept import JobRecord, VerdictRecord
    from meterlog.record.outcome import JobOutcome
    from meterlog.record.reader import RecordReader
    from meterlog.report.healthy import LikeIt
    from meterlog.walk import Snapshot
    from meterlog.walk.snapshot import StepSnapshot
    from meterlog.web.next_check import Suggested
    from meterlog.web.scale import Scale

STOPPING = ("fail", "undecided")
"""Outcomes that stay on the screen until they are seen."""
SPOKEN = (Watched.SETTLED, Watched.AT_TIME)
"""What watches a step whose one reading lies inside the limit or does not; a proof needs more than that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """A verdict that failed or stayed undecided: its step, what it usually means, what was shown."""

    verdict: VerdictRecord
    key: str
    title: str
    meaning: str
    shows: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Everything that the bench page shows of a walk's moment.

    Attributes:
        walk: the walk's snapshot.
        position: of the step, from 1.
        mains: what is said of the mains, "" for nothing.
        needs: key and title of what a step at its gate waits for.
        states: how each check stands, in words, by its key.
        has_lapsed: whether the step at hand was proved once, and nothing rests on it any more.
        is_spoken: whether one reading answers it.
        elapsed_s: how long it runs, or how long ago a heating run was stopped; None before it began.
        said: the newest verdict on the step; here: its captures; found: a power, in words.
        alike: what healthy ones of its model read; None where the step is not compared.
        examples: by entry that is asked for, how it is written.
        next_check: which check next; None where the procedure states no faults.
        outcome: what the job amounts to, at its end.
    """

    walk: Snapshot
    step: Step | None
    position: int | None
    title: str
    cautions_were_read: bool
    mains: str
    needs: Sequence[tuple[str, str]]
    states: Mapping[str, str]
    has_lapsed: bool
    limit: Limit | None
    scale: Scale | None
    is_spoken: bool
    elapsed_s: float | None
    alerts: Sequence[Alert]
    said: VerdictRecord | None
    here: Sequence[StepSnapshot]
    found: str
    examples: Mapping[str, str]
    alike: LikeIt | None
    next_check: Suggested | None
    outcome: JobOutcome | None


def at_hand(reader: RecordReader, walk: Snapshot, seen: int = 0) -> Task | None:
    """The task of a walk's moment; None when the record holds no such job.

    `seen`: the number of the last verdict that was seen on this screen.
    """
    job = reader.job(walk.job)
    if job is None:
        return None
    procedure = procedures.of(reader, job.procedure)
    key = walk.step
    step = procedures.written_step(procedure, key) if key else None
    where, entries = stated_of(job, reader.acts(job.id, STATES))
    limit = _limit(procedure, step, where, entries)
    keys = {each.id: each.key for each in reader.steps(job.id)}
    verdicts = reader.verdicts(job.id)
    said = next((each for each in reversed(verdicts) if keys[each.step] == key), None)
    return Task(
        walk=walk,
        step=step,
        position=next((n for n, each in enumerate(walk.steps, 1) if each.key == key), None),
        title=step.title if step else walk.title,
        cautions_were_read=walk.phase not in ("cautions", "done"),
        mains=_mains(walk.phase, step),
        needs=_needs(walk, procedure),
        states={each.key: _state(each) for each in walk.steps},
        has_lapsed=any(each.lapsed for each in walk.steps if each.key == key),
        limit=limit,
        scale=_scale(step, limit),
        is_spoken=step is not None and step.kind.watched in SPOKEN and walk.phase == "watch",
        elapsed_s=since(walk.started, time.monotonic()) if walk.phase in ("run", "after") else None,
        alerts=_alerts(reader, verdicts, keys, procedure, seen),
        said=said,
        here=[e for e in walk.steps if e.key == key and e.captures and e.shown is not None],
        found=wording.result(said.verdict) if said and step and step.kind.is_run else "",
        examples={name: examples_of(procedure, name) for name in walk.asks} if procedure else {},
        alike=_alike(reader, job, step, entries, said) if step and walk.phase != "done" else None,
        next_check=suggested(reader, walk, procedure) if walk.phase != "done" else None,
        outcome=outcome.outcome_of(reader, walk.job, procedure) if walk.phase == "done" else None,
    )


def _alike(
    reader: RecordReader, job: JobRecord, step: Step, entries: Mapping[str, str], said: VerdictRecord | None
) -> LikeIt | None:
    """What healthy ones of this job's model read at the step at hand, and what it read itself beside them."""
    if not step.quantity or not is_compared(step.kind) or not model_of(entries)[1]:
        return None
    measured = healthy.measurements(reader, step.key, job.appliance)
    si = measured[-1].unit if measured else units.QUANTITIES[step.quantity].si
    result = said.verdict if said else None
    value, unit = (result.value, result.unit or si) if result else (None, si)
    return healthy.like(measured, model_of(entries), unit, job=job.ref, value=value)


def _alerts(
    reader: RecordReader,
    verdicts: Sequence[VerdictRecord],
    keys: Mapping[int, str],
    procedure: Procedure | None,
    seen: int,
) -> list[Alert]:
    """What failed or stayed undecided since `seen` and still stands, newest first, with what it usually means."""
    found = [v for v in standing(verdicts).values() if v.outcome in STOPPING and v.id > seen]
    alerts = []
    for verdict in sorted(found, key=lambda verdict: -verdict.id):
        key = keys[verdict.step]
        step = procedures.written_step(procedure, key)
        meaning, title = (step.meaning, step.title) if step else ("", key)
        alerts.append(Alert(verdict=verdict, key=key, title=title, meaning=meaning, shows=_shows(reader, verdict)))
    return alerts


def _shows(reader: RecordReader, verdict: VerdictRecord) -> str:
    """What a verdict's capture showed; what was found, where that is worked out from many readings."""
    kept = reader.capture(verdict.capture) if verdict.capture is not None else None
    return wording.result(verdict.verdict) if kept is None or kept.capture.is_run else wording.display(kept)


def _needs(walk: Snapshot, procedure: Procedure | None) -> list[tuple[str, str]]:
    """Key and title of what a step at its gate waits for; for the proof of dead, the first step that gives it."""
    proofs = [each for each in walk.steps if KINDS[each.kind].proves_dead]
    dead = [each.key for each in proofs if each.state != "pass" or each.lapsed]
    proof = [(dead[0] if dead else "", "the proof that it is dead")]
    return [pair for need in walk.needs for pair in ([(need, _title(procedure, need))] if need else proof)]


def _state(check: StepSnapshot) -> str:
    """How a check stands; a proof of what nobody watched since is a memory."""
    words = outcome.STATES.get(check.state, check.state)
    return f"{words}, counts no more" if check.lapsed else words


def _title(procedure: Procedure | None, key: str) -> str:
    step = procedures.written_step(procedure, key)
    return step.title if step else key


def _mains(phase: str, step: Step | None) -> str:
    """What is said of the mains: before, while it runs, and after nothing that nobody knows."""
    if step is None or not step.energised or phase not in ("cautions", "gate", "look", "watch", "stir", "start", "run"):
        return ""
    return "mains is on" if phase == "run" else "with mains on"


def since(started: float | None, now: float) -> float | None:
    """How long it runs, s; None before it began, and on the clock of a recording that is played faster than it went."""
    return now - started if started is not None and started <= now else None


def _scale(step: Step | None, limit: Limit | None) -> Scale | None:
    return scale_of(limit, units.QUANTITIES[step.quantity].si) if step and step.quantity else None


def _limit(procedure: Procedure | None, step: Step | None, where: str, plate: Mapping[str, str]) -> Limit | None:
    limit = step.limit_for(where) if step else None
    if limit is None or procedure is None or not limit.of:
        return limit
    try:
        return limit.against(entry_values(procedure, plate))
    except KeyError:
        return limit
