"""The next step of a job: gates and tiers first, then which check tells most, said in one sentence with its reason.

Safety comes before any score. Proofs, and whatever a later step with mains on waits for, are never ranked, skipped or
shortened; a check whose gates are not open is preceded by the gate; nothing inside a live appliance is in any list.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.diagnosis.model import CheckOutcome
from meterlog.diagnosis.sentences import shown_parts, why_check, why_in_order, why_stop
from meterlog.diagnosis.stated import guesses, model_for
from meterlog.diagnosis.suggestion import suggest
from meterlog.procedure.kinds import Opens

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from meterlog.diagnosis.suggestion import Suggestion
    from meterlog.procedure.steps import Procedure, Step

OPENS = ("pass", "looked", "override")
"""What opens a gate to the steps that wait for it."""

OUTCOMES = ("pass", "fail", "undecided", "not judged", "looked", "override", "skipped")
"""What a step came to, as far as a suggestion asks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is known of a job.

    Attributes:
        complaint: its name under the procedure's complaints; "" where it was not told.
        outcomes: by step key, what it came to: one of `OUTCOMES`.
        renewed: parts that were renewed and did not end the complaint.
    """

    complaint: str
    outcomes: Mapping[str, str]
    renewed: Collection[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """What to do next.

    Attributes:
        step: key of the step to do next; None when measuring stops, or something must be put right first.
        why: one sentence.
        runners_up: keys of the next best two.
        parts: probability of each part of being the one to renew, guarded: for showing, best first.
        renew: parts in the order in which renewing them costs least, when measuring stops.
        is_stop: whether the search for the fault ends here; the procedure's safety steps never do.
        suggestion: what it was reckoned from; None where nothing was.
    """

    step: str | None
    why: str
    runners_up: tuple[str, ...] = ()
    parts: tuple[tuple[str, float], ...] = ()
    renew: tuple[str, ...] = ()
    is_stop: bool = False
    suggestion: Suggestion | None = None

    def as_dict(self) -> dict[str, Any]:
        """As plain values, probabilities to four decimals; what it was reckoned from is left out."""
        return {
            "next": self.step,
            "why": self.why,
            "runners_up": list(self.runners_up),
            "parts": [{"part": part, "probability": round(probability, 4)} for part, probability in self.parts],
            "renew": list(self.renew),
            "stop": self.is_stop,
        }


def gates_of(procedure: Procedure) -> set[str]:
    """Keys of the steps that are never ranked: proofs, looks, and all that a step with mains on waits for."""
    gates = {step.key for step in procedure.steps if step.kind.is_left_in_words}
    for step in reversed(procedure.steps):
        if step.energised or step.key in gates:
            gates |= set(step.needs)
    return gates


def next_step(procedure: Procedure, question: Question) -> NextStep:
    """What to do next in a job."""
    complaint, outcomes = question.complaint, question.outcomes
    wrong = next((step for step in procedure.steps if _stops(procedure, step, outcomes)), None)
    if wrong is not None:
        because = f"; {wrong.meaning}" if wrong.meaning else ""
        return NextStep(step=None, why=f"{wrong.title}: did not pass, so that nothing else is measured first{because}.")
    model = model_for(procedure, complaint)
    if model is None:
        return _in_order(procedure, complaint, outcomes)
    checks = {check.key for check in model.checks}
    findings = {
        key: CheckOutcome(outcome)
        for key, outcome in outcomes.items()
        if key in checks and outcome in set(CheckOutcome)
    }
    allowed = {key for key in checks - gates_of(procedure) - outcomes.keys() if _can_open(procedure, key, outcomes)}
    suggestion = suggest(model, findings, allowed=allowed, renewed=question.renewed)
    parts, guessed = shown_parts(suggestion), guesses(procedure, complaint)
    if suggestion.check is None:
        why = f"{why_stop(procedure, model, suggestion, findings)} {guessed}"
        return NextStep(step=None, why=why, parts=parts, renew=suggestion.renew, is_stop=True, suggestion=suggestion)
    gate = _first_gate(procedure, suggestion.check.key, outcomes)
    return NextStep(
        step=gate or suggestion.check.key,
        why=f"{why_check(procedure, model, suggestion, findings, gate)} {guessed}",
        runners_up=tuple(check.key for check in suggestion.runners_up),
        parts=parts,
        suggestion=suggestion,
    )


def _stops(procedure: Procedure, step: Step, outcomes: Mapping[str, str]) -> bool:
    """Whether a step was found wanting on which work itself rests: a proof, or a look that others wait for."""
    is_waited_for = any(step.key in other.needs for other in procedure.steps)
    rests_on_it = step.kind.is_left_in_words and (step.kind.opens is not Opens.LOOK or is_waited_for)
    return rests_on_it and outcomes.get(step.key) == "fail"


def _can_open(procedure: Procedure, key: str, outcomes: Mapping[str, str]) -> bool:
    """Whether a step's gates are open, or not tried yet; what is worked out, whether something for it is to be done."""
    step = procedure.step(key)
    if _is_computed(step):
        return any(need not in outcomes and _can_open(procedure, need, outcomes) for need in step.needs)
    return all(
        outcomes.get(need) in (None, *OPENS, "not judged") and _can_open(procedure, need, outcomes)
        for need in step.needs
    )


def _is_computed(step: Step) -> bool:
    """Whether it answers itself: what it is worked out from is measured in its place."""
    return step.kind.opens is Opens.COMPUTED


def _first_gate(procedure: Procedure, key: str, outcomes: Mapping[str, str]) -> str | None:
    """The first step in order that comes before this one: what it waits for at any remove, and proofs and looks that
    stand before it and were not come to yet."""
    before = procedure.steps[: procedure.steps.index(procedure.step(key))]
    waiting = {key, *(step.key for step in before if step.kind.is_left_in_words and step.key not in outcomes)}
    for step in reversed(procedure.steps):
        if step.key in waiting and _is_computed(step):
            waiting |= {name for name in step.needs if name not in outcomes}
        elif step.key in waiting:
            waiting |= {name for name in step.needs if outcomes.get(name) not in OPENS}
    return next((step.key for step in procedure.steps if step.key in waiting - {key}), None)


def _in_order(procedure: Procedure, complaint: str, outcomes: Mapping[str, str]) -> NextStep:
    """The first step that nobody came to yet and whose gates are open or can be."""
    left = [
        step.key
        for step in procedure.steps
        if step.key not in outcomes and not _is_computed(step) and _can_open(procedure, step.key, outcomes)
    ]
    step = (_first_gate(procedure, left[0], outcomes) or left[0]) if left else None
    end = "" if left else " Nothing is left of it, or what is left waits for a check that did not pass."
    why = f"{why_in_order(procedure, complaint)}: the procedure's own order holds.{end}"
    return NextStep(step=step, why=why, is_stop=step is None)
