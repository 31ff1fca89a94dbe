"""What was done in a job, each act in words: who did what to which check, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.record.acts import ActKind
from meterlog.report import wording

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.record.kept import ActRecord, StepRecord

TOLD_ELSEWHERE = frozenset({
    ActKind.JOB_OPENED, ActKind.STEP_BEGAN, ActKind.LIFTED, ActKind.PROOF, ActKind.STARTED, ActKind.TIMED,
    ActKind.JOB_DONE, ActKind.REFUSED, ActKind.CONTACT_SAID, ActKind.WAITING,
    "act acknowledge", "act confirm", "act wanting", "act skip", "act note", "act next", "act override", "act press",
    "act start", "act stop",
})  # fmt: skip
"""Events that the checks tell, or that what came of them tells."""
WORDS: dict[str, str] = {
    ActKind.JOB_RESUMED: "taken up again after a break",
    ActKind.JOB_LAID_ASIDE: "laid aside",
    ActKind.JOB_TAKEN_UP: "taken up again",
    ActKind.JOB_CLOSED: "closed",
    ActKind.ENTRIES: "entered",
    ActKind.PART_FITTED: "part fitted",
    ActKind.WORK_DONE: "work done",
    ActKind.PHOTOGRAPH: "photograph added",
    ActKind.ERASED: "personal fields erased",
    ActKind.SUGGESTED: "which check next was suggested",
    ActKind.CONCLUDED_AGAIN: "judged again",
    ActKind.READ_AGAIN: "bytes read again under another profile",
    ActKind.ACKNOWLEDGED: "cautions read",
    ActKind.OVERRODE: "gone on without what it waits for",
    ActKind.WRONG_FUNCTION: "the meter stood on another function",
    ActKind.NOT_TAKEN: "not taken",
    ActKind.LIVE_POINT: "found live",
    ActKind.FROZEN: "HOLD was on",
    ActKind.NOTED: "note",
    ActKind.PROOFS_ENDED: "what was proved before counts no more",
    ActKind.REOPENED: "opened again: what was proved after refitting counts no more",
    "act go to": "gone to",
    "act back": "gone back",
    "act again": "measured again",
}
"""Each kind of event in words; a kind that is not here is told by its name."""
HOW = {"looked": "looked over: well", "found wanting": "looked over: not well", "computed": "worked out"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Doing:
    """An act in words: on which check (its title, "" for the job), by whom, and what was said with it."""

    at_utc_ms: int
    step: str
    words: str
    who: str
    why: tuple[str, ...]


def doings(acts: Iterable[ActRecord], steps: Mapping[int, StepRecord], notes: Mapping[str, str]) -> list[Doing]:
    """What is worth telling of a job's acts, oldest first.

    `steps` by id; `notes` by digest, as far as they are not erased.
    """
    titles = {step.key: step.title for step in steps.values()}
    return [_doing(act, steps, titles, notes) for act in acts if act.kind not in TOLD_ELSEWHERE]


def _doing(
    act: ActRecord, steps: Mapping[int, StepRecord], titles: Mapping[str, str], notes: Mapping[str, str]
) -> Doing:
    facts = act.facts
    step = steps.get(act.step) if act.step is not None else None
    key = facts.get("to") or (step.key if step else "")
    work = ("part", "marking", "text") if act.kind in (ActKind.PART_FITTED, ActKind.WORK_DONE) else ()
    said = [facts.get(name) for name in ("reason", "why", "shown", *work)]
    noted = [notes[value] for value in facts.values() if isinstance(value, str) and value in notes]
    entered = [f"{wording.entry(name)} {value}" for name, value in (facts.get("entries") or {}).items()]
    return Doing(
        at_utc_ms=act.at_utc_ms,
        step=titles.get(key, key),
        words=_words(act),
        who=act.who or facts.get("who", ""),
        why=tuple(text for text in (*said, *noted, *entered) if text),
    )


def _words(act: ActRecord) -> str:
    if act.kind == ActKind.PASSED:
        how: str = act.facts.get("how", "")
        return HOW.get(how, how)
    return WORDS.get(act.kind, act.kind)
