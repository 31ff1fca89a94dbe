"""What was done in a job, each act in words: who did what to which check, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.record.acts import ActKind
from meterlog.report import wording

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    Event = Mapping[str, Any]

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


def doings(events: Iterable[Event], titles: Mapping[str, str], notes: Mapping[str, str]) -> list[dict[str, Any]]:
    """What is worth telling of a job's events, oldest first: `at_utc_ms`, `step` (its title), `words`, `who`, `why`.

    `titles` by step key; `notes` by digest, as far as they are not erased.
    """
    return [_told(event, titles, notes) for event in events if event["kind"] not in TOLD_ELSEWHERE]


def _told(event: Event, titles: Mapping[str, str], notes: Mapping[str, str]) -> dict[str, Any]:
    facts = event["facts"]
    key = facts.get("to") or event["step"] or ""
    noted = [notes[value] for value in facts.values() if isinstance(value, str) and value in notes]
    entered = [f"{wording.entry(name)} {value}" for name, value in (facts.get("entries") or {}).items()]
    return {
        "at_utc_ms": event["at_utc_ms"],
        "step": titles.get(key, key),
        "words": _words(event),
        "who": event["who"] or facts.get("who", ""),
        "why": [
            text
            for text in (
                facts.get("reason"),
                facts.get("why"),
                facts.get("shown"),
                *_told_of_work(event),
                *noted,
                *entered,
            )
            if text
        ],
    }


def _told_of_work(event: Event) -> list[str]:
    if event["kind"] not in (ActKind.PART_FITTED, ActKind.WORK_DONE):
        return []
    return [text for name in ("part", "marking", "text") if (text := event["facts"].get(name))]


def _words(event: Event) -> str:
    kind: str = event["kind"]
    if kind == ActKind.PASSED:
        how: str = event["facts"].get("how", "")
        return HOW.get(how, how)
    return WORDS.get(kind, kind)
