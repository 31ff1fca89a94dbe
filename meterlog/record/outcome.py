"""The outcome of a job: one rule for the sheet, the job's page, the bench at its end and the commands.

Any check that failed and still stands: did not pass. A safety check without a pass: not finished. Only
then: every safety check passed, which the repairer signs for; checks for the fault may still be open.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from meterlog.procedure import gates
from meterlog.procedure.kinds import Opens
from meterlog.record.acts import ActKind
from meterlog.record.keptjob import left_without_capture, stated_of
from meterlog.record.standing import standing
from meterlog.walk.ledger import ANOTHER_CLASS, Ledger, StepCapture

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.procedure.steps import Procedure
    from meterlog.record.kept import ActRecord, JobRecord
    from meterlog.record.reader import RecordReader


class Word(StrEnum):
    """What a job amounts to."""

    PASSED = "every safety check passed"
    FAILED = "did not pass: do not use"
    UNFINISHED = "not finished"


NO_SAFETY_CHECK = "its procedure measures nothing that safety is judged by"
UNREADABLE = "this program can't read the job's procedure any more"
NAMED_MOST = 3
"""Missing checks that the first line names; it counts the others."""

STATES = {
    "fail": "failed",
    "found wanting": "looked at: not well",
    "undecided": "undecided",
    "not judged": "not judged",
    "captured": "without a verdict",
    "not proved": "not proved",
    "to do again": "to be done again, for the appliance was opened since",
    "skipped": "skipped",
    ANOTHER_CLASS: "not of its class, skipped",
    "passed over": "passed over",
    "": "not done",
    "pass": "passed",
    "looked": "looked over: well",
    "computed": "worked out",
    "recorded": "recorded, with no limit to hold it against",
}
"""Each state of a check in words; what keeps a job from being whole comes first."""
FAILING = ("fail", "found wanting")
WHOLE = ("pass", "looked", "computed", "recorded")


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCheck:
    """How a check of a job stands.

    Attributes:
        state: a key of `STATES`.
        reason: what the person wrote when it was skipped or found not well.
        is_safety: whether safety is judged by it; a check that is looked at always counts.
        is_judged: whether it can pass or fail.
        hint: how to go on without it, where the appliance may have no such thing.
    """

    key: str
    title: str
    state: str
    reason: str = ""
    is_safety: bool = False
    is_looked_at: bool = False
    is_judged: bool = True
    hint: str = ""

    @property
    def words(self) -> str:
        """Its state for a person: "not done"."""
        return STATES.get(self.state, self.state)

    @property
    def is_missing(self) -> bool:
        """Whether the job is not finished for want of it."""
        if self.is_safety or self.is_looked_at:
            return self.state not in ("pass", "looked", ANOTHER_CLASS)
        return self.state == "to do again"


@dataclass(frozen=True, slots=True, kw_only=True)
class Overridden:
    """A gate that was passed in writing: the check's title, what it waited for, the reason, who gave it."""

    title: str
    needs: tuple[str, ...]
    reason: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOutcome:
    """What a job amounts to.

    Attributes:
        says: the first line of the sheet: one sentence.
        checks: every check of the procedure, in its order.
        failed: checks that failed or were found not well, and stand so.
        missing: what keeps it from being finished.
        open: other checks without a good answer.
        passed: safety checks that passed.
        tally: (state in words, how many), the worst first.
    """

    word: Word
    says: str
    checks: tuple[JobCheck, ...] = ()
    failed: tuple[JobCheck, ...] = ()
    missing: tuple[JobCheck, ...] = ()
    open: tuple[JobCheck, ...] = ()
    passed: tuple[JobCheck, ...] = ()
    overridden: tuple[Overridden, ...] = ()
    tally: tuple[tuple[str, int], ...] = ()

    @property
    def unanswered(self) -> tuple[JobCheck, ...]:
        """All that did not come out well: what failed, what is missing, what else is open."""
        return (*self.failed, *self.missing, *self.open)


def conclude_job(checks: Sequence[JobCheck], overridden: Sequence[Overridden] = ()) -> JobOutcome:
    """The outcome of a job from how its checks stand, in the order of its procedure."""
    failed = tuple(check for check in checks if check.state in FAILING)
    missing = tuple(check for check in checks if check.is_missing and check not in failed)
    whole = (*failed, *missing)
    passed = tuple(check for check in checks if check.is_safety and check.state == "pass")
    word, says = _word(failed, missing, passed)
    counted = Counter(check.state for check in checks)
    order = [*STATES, *(state for state in counted if state not in STATES)]
    return JobOutcome(
        word=word,
        says=f"{says[0].upper()}{says[1:]}.",
        checks=tuple(checks),
        failed=failed,
        missing=missing,
        open=tuple(check for check in checks if check.state not in WHOLE and check not in whole),
        passed=passed,
        overridden=tuple(overridden),
        tally=tuple((STATES.get(state, state), counted[state]) for state in order if counted[state]),
    )


def _word(failed: Sequence[JobCheck], missing: Sequence[JobCheck], passed: Sequence[JobCheck]) -> tuple[Word, str]:
    if failed:
        return Word.FAILED, Word.FAILED
    if missing:
        named = [f"{check.title} ({check.words})" for check in missing[:NAMED_MOST]]
        if len(missing) > NAMED_MOST:
            named.append(f"and {len(missing) - NAMED_MOST} more")
        return Word.UNFINISHED, f"{Word.UNFINISHED}: {'; '.join(named)}"
    if not passed:
        return Word.UNFINISHED, f"{Word.UNFINISHED}: {NO_SAFETY_CHECK}"
    return Word.PASSED, Word.PASSED


def outcome_of(reader: RecordReader, ref: str, procedure: Procedure | None) -> JobOutcome:
    """The outcome of a kept job; `procedure` is its own, None where it can't be read. Raises: KeyError."""
    job = reader.job(ref)
    if job is None:
        raise KeyError(ref)
    if procedure is None:
        return JobOutcome(word=Word.UNFINISHED, says=f"Not finished: {UNREADABLE}.")
    acts = reader.acts(job.id)
    steps = reader.steps(job.id)
    titles = {step.key: step.title for step in steps}
    keys = {step.id: step.key for step in steps}
    ledger = _ledger(reader, job, procedure, keys, acts)
    reasons = {keys[a.step]: a.facts.get("reason", "") for a in acts if a.kind == ActKind.PASSED and a.step in keys}
    checks = []
    for step in procedure.steps:
        state = ledger.state(step)
        is_recorded = not step.is_judged and state in ("not judged", "captured")
        checks.append(
            JobCheck(
                key=step.key,
                title=titles.get(step.key, step.title),
                state="recorded" if is_recorded else state,
                reason=reasons.get(step.key, ""),
                is_safety=gates.is_safety_check(procedure, step),
                is_looked_at=step.kind.opens is Opens.LOOK,
                is_judged=step.is_judged,
                hint=gates.class_hint(procedure, step) if state in ("skipped", "fail") else "",
            )
        )
    return conclude_job(checks, [_overridden(act, keys, titles) for act in acts if act.kind == ActKind.OVERRODE])


def _ledger(
    reader: RecordReader, job: JobRecord, procedure: Procedure, keys: Mapping[int, str], acts: Sequence[ActRecord]
) -> Ledger:
    """The walk's own ledger, as the record left it: one rule says how a check stands, live and kept."""
    captures, verdicts = reader.captures(job.id), reader.verdicts(job.id)
    outcomes = {verdict.capture: verdict.outcome for verdict in verdicts}
    concluded = {keys[step]: verdict.outcome for step, verdict in standing(verdicts).items()}
    passed, void = left_without_capture(acts, keys, captures)
    entries = stated_of(job, acts)[1]
    ledger = Ledger(procedure, lambda: entries)
    ledger.restore(
        [(keys[each.step], StepCapture("", each.capture, outcomes.get(each.id, ""))) for each in captures],
        {key: concluded.get(key, how) if how == "computed" else how for key, how in passed.items()},
        void,
    )
    return ledger


def _overridden(act: ActRecord, keys: Mapping[int, str], titles: Mapping[str, str]) -> Overridden:
    return Overridden(
        title=titles.get(keys.get(act.step or 0, ""), "the job"),
        needs=tuple(titles.get(need, need) for need in act.facts.get("needs", ())),
        reason=act.facts.get("reason", ""),
        who=act.facts.get("who") or act.who,
    )
