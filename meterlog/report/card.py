"""Everything of one job, read once, for the job page and for the sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.base.units import with_symbols
from meterlog.judging import Outcome
from meterlog.judging.rule import interval
from meterlog.procedure.kinds import KINDS, Opens
from meterlog.record.acts import ActKind
from meterlog.record.keptjob import stated_of
from meterlog.record.outcome import WHOLE, outcome_of
from meterlog.record.standing import standing
from meterlog.report import procedures, wording
from meterlog.report.doings import doings
from meterlog.report.runs import capture_plot, drawn_run, readings_around

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.judging import Verdict
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.record.kept import ActRecord, CaptureRecord, JobRecord, PersonalField, StepRecord, VerdictRecord
    from meterlog.record.outcome import JobOutcome
    from meterlog.record.reader import RecordReader
    from meterlog.report.doings import Doing
    from meterlog.report.runs import DrawnRun

ROOMS = (
    ("Looked over and made safe", "look", "leads", "dead"),
    ("Inside, without power", "inside"),
    ("From outside, without power", "outside"),
    ("Under power", "energised"),
    ("Worked out", "derived"),
)
"""Where a check takes place, in words, and what tells it: a kind of step or a place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepCard:
    """A step of a job with what was kept of it.

    Attributes:
        written: as the procedure has it; None where its text can't be read.
        verdict, result: the one of `verdicts` that counts, and what it holds.
        state: how it stands, a key of `outcome.STATES`.
        passed, reason: how it was left without a capture, and why; "" where it was not.
        run: of a heating run that was concluded; plot: the trace, as SVG, "" for none.
    """

    step: StepRecord
    written: Step | None
    captures: tuple[CaptureRecord, ...]
    verdicts: tuple[VerdictRecord, ...]
    verdict: VerdictRecord | None
    result: Verdict | None
    state: str
    passed: str
    reason: str
    run: DrawnRun | None
    plot: str

    @property
    def key(self) -> str:
        return self.step.key

    @property
    def title(self) -> str:
        return self.step.title

    @property
    def shown(self) -> str:
        """What the check found, for an owner; "" without a verdict."""
        return self._plainly(self.verdict, self.result)

    @property
    def first_failed(self) -> str:
        """What the check showed when it failed first; "" when it never did."""
        failed = next((verdict for verdict in self.verdicts if verdict.outcome == Outcome.FAIL), None)
        return (self._plainly(failed, failed.verdict) or "failed") if failed else ""

    @property
    def wanted(self) -> str:
        """The limit that the check was held against, as a person writes it; else as the procedure has it."""
        limit = self.result.limit if self.result else None
        if self.result is None or limit is None or (limit.low is None and limit.high is None):
            return with_symbols(self.step.limits)
        return interval(limit.low, limit.high, self.result.unit, limit.unit)

    def _plainly(self, verdict: VerdictRecord | None, result: Verdict | None) -> str:
        """The value without its uncertainty, or what was shown where it is an edge."""
        if verdict is None or result is None:
            return ""
        capture = next((each for each in self.captures if each.id == verdict.capture), None)
        if result.value is None:
            return wording.display(capture) if capture else ""
        written_in = result.limit.unit if result.limit else ""
        value = wording.plain_value(result.value, result.expanded_uncertainty or 0.0, result.unit, written_in)
        return value + (wording.typed_mark(capture) if capture else "")

    @property
    def shows(self) -> str:
        """What was found, where it is not what an instrument showed: a power from a heating run, a ratio."""
        measured = units.QUANTITIES[self.captures[-1].capture.form.quantity].si if self.captures else ""
        return wording.result(self.result) if self.result and self.result.unit != measured else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Checks that take place together; `open` of them are without a good answer."""

    title: str
    steps: tuple[StepCard, ...]
    open: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Photograph:
    """A photograph by its digest; the daemon keeps "image/jpeg rating plate" as the field's value."""

    digest: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A job: `personal` are its fields in words, `notes` by digest, as far as they are not erased.

    `entries` are the last words on what the plate says and the person knows.
    """

    job: JobRecord
    entries: Mapping[str, str]
    procedure: Procedure | None
    steps: tuple[StepCard, ...]
    personal: tuple[PersonalField, ...]
    photos: tuple[Photograph, ...]
    notes: Mapping[str, str]
    acts: tuple[ActRecord, ...]
    doings: tuple[Doing, ...]
    outcome: JobOutcome
    rooms: tuple[Room, ...]


def card_of(reader: RecordReader, ref: str) -> Card | None:
    """Everything of a job; None when there is no such job."""
    job = reader.job(ref)
    if job is None:
        return None
    procedure = procedures.of(reader, job.procedure)
    acts = reader.acts(job.id)
    outcome = outcome_of(reader, ref, procedure)
    steps = _steps(reader, job.id, procedure, acts, {check.key: check.state for check in outcome.checks})
    fields = reader.personal(job.id)
    photos = [field for field in fields if field.is_photograph]
    personal = [field for field in fields if not field.is_photograph]
    notes = {field.digest: field.value for field in personal if field.name == "note"}
    return Card(
        job=job,
        entries=stated_of(job, acts)[1],
        procedure=procedure,
        steps=steps,
        personal=tuple(field for field in personal if field.name != "note"),
        photos=tuple(Photograph(digest=f.digest, words=f.value.partition(" ")[2] or f.name) for f in photos),
        notes=notes,
        acts=tuple(acts),
        doings=tuple(doings(acts, {each.step.id: each.step for each in steps}, notes)),
        outcome=outcome,
        rooms=_rooms(steps, procedure),
    )


def _steps(
    reader: RecordReader, job: int, procedure: Procedure | None, acts: Sequence[ActRecord], states: Mapping[str, str]
) -> tuple[StepCard, ...]:
    steps = [(step, procedures.written_step(procedure, step.key)) for step in reader.steps(job)]
    captures, verdicts = reader.captures(job), reader.verdicts(job)
    counting = standing(verdicts, {step.id for step, written in steps if written and written.counts == "first"})
    passed = {act.step: act.facts for act in acts if act.kind == ActKind.PASSED}

    def card(step: StepRecord, written: Step | None) -> StepCard:
        verdict, left = counting.get(step.id), passed.get(step.id, {})
        own = tuple(capture for capture in captures if capture.step == step.id)
        run = drawn_run(reader, verdict, step) if verdict else None
        return StepCard(
            step=step,
            written=written,
            captures=own,
            verdicts=tuple(each for each in verdicts if each.step == step.id),
            verdict=verdict,
            result=verdict.verdict if verdict else None,
            state=states.get(step.key, ""),
            passed=left.get("how", ""),
            reason=left.get("reason", ""),
            run=run,
            plot=run.plot if run else _trace(reader, step, own),
        )

    return tuple(card(step, written) for step, written in steps)


def _trace(reader: RecordReader, step: StepRecord, captures: Sequence[CaptureRecord]) -> str:
    """A heating run's trace alone; "" for any other step."""
    logged = [capture for capture in captures if capture.link is not None]
    if not logged or not KINDS[step.kind].is_run:
        return ""
    return capture_plot(logged[-1], readings_around(reader, logged[-1]))


def _rooms(steps: Sequence[StepCard], procedure: Procedure | None) -> tuple[Room, ...]:
    """The checks by where they take place, in their order."""
    found = []
    for title, *places in ROOMS:
        here = tuple(step for step in steps if _place(step.written, procedure) in places)
        if here:
            found.append(Room(title=title, steps=here, open=sum(step.state not in WHOLE for step in here)))
    return tuple(found)


def _place(step: Step | None, procedure: Procedure | None) -> str:
    if step is None or procedure is None:
        return "outside"
    if step.energised:
        return "energised"
    if step.kind.is_left_in_words or step.kind.opens is Opens.COMPUTED:
        return step.kind.name
    inside = {point.name for point in procedure.points if point.is_inside}
    return "inside" if inside & set(step.points) else "outside"
