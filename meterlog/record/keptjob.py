"""A kept job as it stood last: to go on with after a restart, or to conclude again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.record.acts import ActKind
from meterlog.record.revisit import Revisit
from meterlog.record.standing import standing
from meterlog.walk.settle import Live

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meterlog.judging.limit import Rule
    from meterlog.procedure.case import StepAnswer
    from meterlog.procedure.steps import Procedure
    from meterlog.record.kept import ActRecord, CaptureRecord, JobRecord, VerdictRecord
    from meterlog.record.reader import RecordReader


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCapture:
    """One capture of a job, by its step's key: the answer it gives, its instrument's texts, its last outcome."""

    step: str
    number: int
    answer: StepAnswer
    profile: str | None
    facts: str | None
    outcome: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptJob:
    """A job from its record.

    Attributes:
        captures: in the order taken.
        passed: by step key, how a step was left without a capture; of a computed one, its outcome.
        void: keys of steps to be done again, since the appliance was opened after they were answered.
        overridden: by step key, what its gate was last passed without, on a written reason.
        acts: identities of the acts that were done.
        verdicts: by step key, the number of the verdict that counts.
        at_hand: the step that was begun last, "" when none was.
        rule: a decision rule in place of the procedure's, None for its own.
        live: volts at points that should be dead, found and not acknowledged; None for none.
    """

    number: int
    ref: str
    procedure: Procedure
    where: str
    entries: Mapping[str, str]
    captures: tuple[KeptCapture, ...]
    passed: Mapping[str, str]
    verdicts: Mapping[str, int]
    at_hand: str
    void: frozenset[str] = frozenset()
    overridden: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    acts: tuple[str, ...] = ()
    rule: Rule | None = None
    live: Live | None = None


COMES_TO_HAND = (ActKind.JOB_OPENED, ActKind.JOB_RESUMED, ActKind.JOB_TAKEN_UP)
LEAVES_THE_HAND = (ActKind.JOB_LAID_ASIDE, ActKind.JOB_CLOSED)


def job_at_hand(reader: RecordReader) -> KeptJob | None:
    """The job that was at hand last, neither closed nor laid aside since; None when there is none."""
    number = None
    for act in reader.acts(kinds=[*COMES_TO_HAND, *LEAVES_THE_HAND]):
        if act.kind in COMES_TO_HAND:
            number = act.job
        elif act.job == number:
            number = None
    ref = next((job.ref for job in reader.jobs() if job.id == number), None)
    return kept_job(reader, ref) if ref is not None else None


STATES = (ActKind.JOB_OPENED, ActKind.ENTRIES)
"""Acts that state whose limits hold and what is known of the appliance."""


def stated_of(job: JobRecord, acts: Iterable[ActRecord]) -> tuple[str, dict[str, str]]:
    """Whose limits hold for a job, "" for none, and its entries, the last word on each; from its acts `STATES`."""
    where, entries = "", dict(job.plate)
    for act in acts:
        if act.kind == ActKind.JOB_OPENED:
            where = act.facts.get("where", "")
        elif act.kind == ActKind.ENTRIES:
            entries |= act.facts["entries"]
    return where, entries


def outcomes_for_gates(verdicts: Iterable[VerdictRecord], procedure: str, where: str) -> dict[int | None, str]:
    """By capture, the last outcome that gates may rest on: a job's own procedure, jurisdiction and rule alone open any.

    What was concluded by other limits can shut a gate, and opens none: for that an override is written at the gate.
    """
    found: dict[int | None, str] = {}
    for each in verdicts:
        basis = each.basis
        is_own = each.procedure == procedure and basis.where == where and not basis.rule
        if is_own or each.outcome != "pass":
            found[each.capture] = each.outcome
    return found


def kept_job(reader: RecordReader, ref: str) -> KeptJob:
    """The job of a reference. Raises: KeyError when there is none."""
    job = reader.job(ref)
    if job is None:
        raise KeyError(ref)
    revisit = Revisit(reader)
    keys = {step.id: step.key for step in reader.steps(job.id)}
    acts = reader.acts(job.id)
    where, entries = stated_of(job, acts)
    verdicts = reader.verdicts(job.id)
    outcomes = outcomes_for_gates(verdicts, job.procedure, where)
    captures = reader.captures(job.id)
    passed, void = left_without_capture(acts, keys, captures)
    counting = {keys[step]: verdict for step, verdict in standing(verdicts).items()}
    return KeptJob(
        number=job.id,
        ref=ref,
        procedure=revisit.procedure(job.procedure),
        where=where,
        entries=entries,
        captures=tuple(
            KeptCapture(
                step=keys[each.step],
                number=each.id,
                answer=revisit.answer(each),
                profile=each.instrument.profile if each.instrument else None,
                facts=each.instrument.facts if each.instrument else None,
                outcome=outcomes.get(each.id, ""),
            )
            for each in captures
        ),
        passed={
            key: counting[key].outcome if how == "computed" and key in counting else how for key, how in passed.items()
        },
        void=void,
        overridden={
            keys[act.step]: tuple(act.facts["needs"])
            for act in acts
            if act.kind == ActKind.OVERRODE and act.step is not None
        },
        acts=tuple(act.facts["act"] for act in acts if act.facts.get("act")),
        live=_unseen_live(acts),
        verdicts={key: verdict.id for key, verdict in counting.items()},
        at_hand=next((keys[a.step] for a in reversed(acts) if a.kind == ActKind.STEP_BEGAN and a.step), ""),
    )


def _unseen_live(acts: Iterable[ActRecord]) -> Live | None:
    """The last live point, where nobody has said since to have seen it."""
    live = None
    for act in acts:
        if act.kind == ActKind.LIVE_POINT:
            live = Live(act.facts["value"], act.facts["shown"])
        elif act.kind in (ActKind.ACKNOWLEDGED, ActKind.STEP_BEGAN):
            live = None
    return live


def left_without_capture(
    acts: Iterable[ActRecord], keys: Mapping[int, str], captures: Iterable[CaptureRecord]
) -> tuple[dict[str, str], frozenset[str]]:
    """How steps were left without a capture, where none came later; and those to be done again since an opening.

    `keys` by the steps' ids in the record; acts and captures of one job, in the order in which they were kept.
    """
    taken = Counter(keys[each.step] for each in captures)
    passed: dict[str, str] = {}
    void: dict[str, int] = {}
    for act in acts:
        if act.kind == ActKind.PASSED and act.step is not None:
            key = keys[act.step]
            if act.facts.get("captures", 0) == taken[key]:
                passed[key] = act.facts["how"]
            void.pop(key, None)
        elif act.kind == ActKind.REOPENED:
            void.update(act.facts["keys"])
    return passed, frozenset(key for key, count in void.items() if count == taken[key])
