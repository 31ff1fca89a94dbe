"""Which check next in a kept job: what a suggestion rests on, how it is kept, and how it is reached again.

One is kept when a person saw it and went on from it, with what was done. It enters no verdict.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.diagnosis.advice import OUTCOMES, Question, next_step
from meterlog.procedure.entries import COMPLAINT
from meterlog.record.acts import ActKind
from meterlog.record.standing import standing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.procedure.steps import Procedure
    from meterlog.record.kept import ActRecord
    from meterlog.record.reader import RecordReader
    from meterlog.walk import Snapshot

_STATES = {"found wanting": "fail", "computed": "pass", "recorded": "not judged", "passed over": "skipped"}
"""How a check stands in a job, in the words of a suggestion; what is to be done again counts as not done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What a suggestion in a job rests on.

    Attributes:
        verdicts: by step key, the number of the verdict that an outcome of `question` is.
        fitted: parts that were fitted since the complaint was told last: whether it is still there nobody has said.
    """

    question: Question
    verdicts: Mapping[str, int]
    fitted: tuple[str, ...]


def states_of(walk: Snapshot) -> dict[str, str]:
    """How each step of a walk stands, by its snapshot; a proof that no gate rests on any more counts as not done."""
    return {step.key: "" if step.lapsed else step.state for step in walk.steps}


def basis_of(reader: RecordReader, ref: str, procedure: Procedure, states: Mapping[str, str]) -> Basis:
    """What a suggestion rests on now; `states` by step key, how each check stands. Raises: KeyError.

    A complaint that is told again after parts were fitted is still there: those parts were renewed in vain, and what
    was measured of them before speaks of parts that are gone.
    """
    job = reader.job(ref)
    if job is None:
        raise KeyError(ref)
    complaint = job.plate.get(COMPLAINT, "")
    fitted: list[ActRecord] = []
    in_vain: dict[str, int] = {}
    stated = procedure.diagnosis
    names = {part.name.casefold(): part.name for part in stated.parts} if stated else {}
    for act in reader.acts(job.id, [ActKind.ENTRIES, ActKind.PART_FITTED]):
        if act.kind == ActKind.PART_FITTED:
            fitted.append(act)
        elif COMPLAINT in act.facts["entries"]:
            complaint = act.facts["entries"][COMPLAINT]
            in_vain |= {names[name]: each.at_utc_ms for each in fitted if (name := _name(each)) in names}
            fitted = []
    keys = {step.id: step.key for step in reader.steps(job.id)}
    verdicts = {keys[step]: verdict for step, verdict in standing(reader.verdicts(job.id)).items()}
    gone = _spoke_of(procedure, in_vain)
    known = {step: outcome for step, state in states.items() if (outcome := _STATES.get(state, state)) in OUTCOMES}
    for step, at_utc_ms in gone.items():
        if step in verdicts and verdicts[step].at_utc_ms < at_utc_ms:
            known.pop(step, None)
    return Basis(
        question=Question(complaint=complaint, outcomes=known, renewed=tuple(in_vain)),
        verdicts={key: verdict.id for key, verdict in verdicts.items() if known.get(key) == verdict.outcome},
        fitted=tuple(act.facts["part"] for act in fitted),
    )


def _name(act: ActRecord) -> str:
    return " ".join(act.facts["part"].casefold().split())


def _spoke_of(procedure: Procedure, in_vain: Mapping[str, int]) -> dict[str, int]:
    """By key of the checks that find faults of these parts, when the last of them was fitted, UTC ms."""
    stated = procedure.diagnosis
    if stated is None:
        return {}
    part_of = {fault.key: fault.part for fault in stated.faults}
    found = {check.step: [in_vain.get(part_of[fault], 0) for fault in check.finds] for check in stated.checks}
    return {step: max(times) for step, times in found.items() if any(times)}


def kept_suggestion(procedure: Procedure, basis: Basis, shown: str, done: str) -> dict[str, Any]:
    """A suggestion as it is kept: what it says and rests on, the check that was `shown`, and what was done."""
    question = basis.question
    return {
        **next_step(procedure, question).as_dict(),
        "complaint": question.complaint,
        "outcomes": dict(question.outcomes),
        "renewed": list(question.renewed),
        "verdicts": dict(basis.verdicts),
        "procedure": procedure.sha256,
        "program": __version__,
        "page_showed": shown,
        "done": done,
    }


def suggestion_differs(reader: RecordReader, procedure: Procedure, act: ActRecord) -> list[str]:
    """What of a kept suggestion comes out differently now, or rests on verdicts that are not so; in words."""
    kept = act.facts
    question = Question(complaint=kept["complaint"], outcomes=kept["outcomes"], renewed=tuple(kept["renewed"]))
    now = next_step(procedure, question).as_dict()
    found = [f"{name}: was {_short(kept[name])}, is {_short(now[name])}" for name in now if kept[name] != now[name]]
    keys = {step.id: step.key for step in reader.steps(act.job or 0)}
    for key, number in kept["verdicts"].items():
        verdict = reader.verdict(number)
        if verdict is None or (keys.get(verdict.step), verdict.outcome) != (key, kept["outcomes"].get(key)):
            found.append(f"rests on {kept['outcomes'].get(key)!r} of {key}, which verdict {number} does not say")
    return found


def _short(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)[:80]
