"""The next step of a job: gates and tiers first, then which check tells most, said in one sentence with its reason.

Safety comes before any score. Proofs, and whatever a later step with mains on waits for, are never ranked, skipped or
shortened; a check whose gates are not open is preceded by the gate; nothing inside a live appliance is in any list.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.diagnosis.belief import MOST_SHOWN
from meterlog.diagnosis.model import SOMETHING_ELSE, CheckOutcome, Model, ModelledCheck, ModelledFault, SuspectPart
from meterlog.diagnosis.suggestion import suggest
from meterlog.procedure.kinds import Opens

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from meterlog.diagnosis.suggestion import Suggestion
    from meterlog.procedure.faults import StatedDiagnosis
    from meterlog.procedure.steps import Procedure, Step

OPENS = ("pass", "looked", "override")
"""What opens a gate to the steps that wait for it."""

OUTCOMES = ("pass", "fail", "undecided", "not judged", "looked", "override", "skipped")
"""What a step came to, as far as a suggestion asks."""

_DEFAULT_ELSE = 2.0


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


def model_of(procedure: Procedure, complaint: str) -> Model | None:
    """What a procedure states of faults, for one complaint; None where it states none behind it."""
    stated = procedure.diagnosis
    if stated is None or not any(complaint in fault.weights for fault in stated.faults):
        return None
    return Model(
        faults=tuple(
            ModelledFault(key=fault.key, part=fault.part, weight=fault.weights[complaint])
            for fault in stated.faults
            if complaint in fault.weights
        ),
        parts=tuple(
            SuspectPart(name=p.name, renew_min=p.renew_s / 60.0, cost_min=p.cost_s / 60.0) for p in stated.parts
        ),
        checks=_checks(procedure, stated),
        set_ups={name: seconds / 60.0 for name, seconds in stated.set_ups.items()},
        else_weight=stated.else_weights.get(complaint, _DEFAULT_ELSE),
        else_min=stated.else_s / 60.0,
    )


def _checks(procedure: Procedure, stated: StatedDiagnosis) -> tuple[ModelledCheck, ...]:
    """In the order of the procedure's steps."""
    by_step = {check.step: check for check in stated.checks}
    return tuple(
        ModelledCheck(
            key=step.key,
            minutes=by_step[step.key].takes_s / 60.0,
            finds=by_step[step.key].finds,
            set_ups=by_step[step.key].set_ups,
            tier=tier_of(step),
            false_alarm=by_step[step.key].false_alarms,
            undecided=by_step[step.key].undecided,
            undecided_when_sound=by_step[step.key].undecided_when_sound,
            group=by_step[step.key].same_evidence,
        )
        for step in procedure.steps
        if step.key in by_step
    )


def tier_of(step: Step) -> int:
    """0 unplugged and closed, 1 open and proved dead, 2 with mains on and closed."""
    return 2 if step.energised else 1 if step.needs_dead else 0


def gates_of(procedure: Procedure) -> set[str]:
    """Keys of the steps that are never ranked: proofs, looks, and all that a step with mains on waits for."""
    gates = {step.key for step in procedure.steps if step.kind.is_left_in_words}
    for step in reversed(procedure.steps):
        if step.energised or step.key in gates:
            gates |= set(step.needs)
    return gates


def advise(procedure: Procedure, question: Question) -> NextStep:
    """What to do next in a job."""
    complaint, outcomes, renewed = question.complaint, question.outcomes, question.renewed
    wrong = next((step for step in procedure.steps if _stops(procedure, step, outcomes)), None)
    if wrong is not None:
        because = f"; {wrong.meaning}" if wrong.meaning else ""
        return NextStep(step=None, why=f"{wrong.title}: did not pass, so that nothing else is measured first{because}.")
    model = model_of(procedure, complaint)
    if model is None:
        return _in_order(procedure, complaint, outcomes)
    findings = {key: CheckOutcome(outcome) for key, outcome in outcomes.items() if outcome in set(CheckOutcome)}
    findings = {key: finding for key, finding in findings.items() if key in {check.key for check in model.checks}}
    gates = gates_of(procedure)
    allowed = {
        check.key
        for check in model.checks
        if check.key not in gates and check.key not in outcomes and _can_open(procedure, check.key, outcomes)
    }
    suggestion = suggest(model, findings, allowed=allowed, renewed=renewed)
    parts = shown_parts(suggestion)
    if suggestion.check is None:
        why = _why_stop(procedure, model, suggestion, findings, parts) + _guesses(procedure, complaint)
        return NextStep(step=None, why=why, parts=parts, renew=suggestion.renew, is_stop=True, suggestion=suggestion)
    return NextStep(
        step=_first_gate(procedure, suggestion.check.key, outcomes) or suggestion.check.key,
        why=_why_check(procedure, model, suggestion, findings, outcomes, parts) + _guesses(procedure, complaint),
        runners_up=tuple(check.key for check in suggestion.runners_up),
        parts=parts,
        suggestion=suggestion,
    )


def _stops(procedure: Procedure, step: Step, outcomes: Mapping[str, str]) -> bool:
    """Whether a step was found wanting on which work itself rests: a look that others wait for."""
    is_waited_for = any(step.key in other.needs for other in procedure.steps)
    return step.kind.opens is Opens.LOOK and is_waited_for and outcomes.get(step.key) == "fail"


def _can_open(procedure: Procedure, key: str, outcomes: Mapping[str, str]) -> bool:
    """Whether a step's gates are open, or not tried yet."""
    needs = procedure.step(key).needs
    return all(outcomes.get(k) in (None, *OPENS, "not judged") and _can_open(procedure, k, outcomes) for k in needs)


def _first_gate(procedure: Procedure, key: str, outcomes: Mapping[str, str]) -> str | None:
    """The first step in order that comes before this one: what it waits for at any remove, and proofs and looks that
    stand before it and were not come to yet."""
    before = procedure.steps[: procedure.steps.index(procedure.step(key))]
    waiting = {key, *(step.key for step in before if step.kind.is_left_in_words and step.key not in outcomes)}
    for step in reversed(procedure.steps):
        if step.key in waiting:
            waiting |= {name for name in step.needs if outcomes.get(name) not in OPENS}
    return next((step.key for step in procedure.steps if step.key in waiting - {key}), None)


def _in_order(procedure: Procedure, complaint: str, outcomes: Mapping[str, str]) -> NextStep:
    why = f"{_why_nothing_is_weighed(procedure, complaint)}: the procedure's own order holds."
    step = next((step.key for step in procedure.steps if step.key not in outcomes), None)
    return NextStep(step=step, why=why, is_stop=step is None)


def _why_nothing_is_weighed(procedure: Procedure, complaint: str) -> str:
    stated = procedure.diagnosis
    if stated is None:
        return f"{procedure.title} states no faults"
    known = ", ".join(repr(name) for name in stated.complaints if name != complaint)
    return f"{procedure.title} states faults of {known}, and " + (
        f"none of {complaint!r}" if complaint else "no complaint is told"
    )


def _guesses(procedure: Procedure, complaint: str) -> str:
    """How many of the weights that a suggestion rests on are guesses; that of something else always is one."""
    assert procedure.diagnosis is not None
    marks = [fault.mark for fault in procedure.diagnosis.faults if complaint in fault.weights]
    return f" {marks.count('guess') + 1} of its {len(marks) + 1} weights are guesses."


def shown_parts(suggestion: Suggestion) -> tuple[tuple[str, float], ...]:
    """Each part with its guarded probability, never above nine in ten, likeliest first."""
    by_part = suggestion.shown.parts
    return tuple(sorted(((name, min(p, MOST_SHOWN)) for name, p in by_part.items()), key=lambda pair: -pair[1]))


def in_ten(probability: float) -> str:
    """A probability in words, no finer than tenths.

    >>> in_ten(0.68)
    'about 7 in 10'
    """
    tenths = min(9, round(probability * 10))
    return f"about {tenths} in 10" if tenths else "less than 1 in 10"


def _why_check(
    procedure: Procedure, model: Model, suggestion: Suggestion, findings: Mapping[str, CheckOutcome],
    outcomes: Mapping[str, str], parts: tuple[tuple[str, float], ...],
) -> str:  # fmt: skip
    """The one sentence: what, how long, what a fail would point to and what a pass would leave."""
    check = suggestion.check
    assert check is not None
    before = dict(parts)
    failed = suggestion.shown.after(check, CheckOutcome.FAIL).parts
    passed = suggestion.shown.after(check, CheckOutcome.PASS).parts
    named = [name for name in failed if name != SOMETHING_ELSE]
    suspect = max(named, key=lambda name: failed[name] - before.get(name, 0.0))
    ahead = max(passed, key=lambda name: passed[name])
    there = {name for other in model.checks if other.key in findings for name in other.set_ups}
    ready = [name for name in check.set_ups if name in there]
    gate = _first_gate(procedure, check.key, outcomes)
    extra = f", {' and '.join(ready)} already" if ready and gate is None else ""
    minutes = f"{max(suggestion.minutes, 0.1):.2g} min"
    sentence = (
        f"{procedure.step(check.key).title}, {minutes}{extra}: a fail points to the {suspect} "
        f"(now {in_ten(before[suspect])}), a pass leaves {_the(ahead)} ahead ({in_ten(passed[ahead])})."
    )
    return f"First {procedure.step(gate).title.lower()}; then {sentence}" if gate else f"Next: {sentence}"


def _why_stop(
    procedure: Procedure, model: Model, suggestion: Suggestion, findings: Mapping[str, CheckOutcome],
    parts: tuple[tuple[str, float], ...],
) -> str:  # fmt: skip
    if suggestion.misfit:
        return "What was found does not fit any fault that is stated: look again, and measure again what surprises."
    if not suggestion.renew:
        return "No part that is stated is left: it is something else."
    first = suggestion.renew[0]
    likely = dict(parts)
    of_it = {fault.key for fault in model.faults if fault.part == first}
    failed = [
        check.key for check in model.checks if findings.get(check.key) is CheckOutcome.FAIL and of_it & set(check.finds)
    ]
    begun = f"More measuring is not worth it; first comes the {first} ({in_ten(likely[first])})"
    if not failed and likely[SOMETHING_ELSE] > likely[first]:
        other = in_ten(likely[SOMETHING_ELSE])
        return f"More measuring is not worth it: no check has failed, and it is likeliest something else ({other})."
    if not failed:
        left = [check for check in model.checks if check.key not in findings and of_it & set(check.finds)]
        surest = max(
            left, key=lambda check: max(check.finds[fault] for fault in of_it & set(check.finds)), default=None
        )
        show = f"; {procedure.step(surest.key).title.lower()} would show it" if surest else ""
        return f"{begun}, but no check of it has failed: that alone is no reason to renew it{show}."
    return f"{begun}: {procedure.step(failed[-1]).title.lower()} failed."


def _the(name: str) -> str:
    return name if name == SOMETHING_ELSE else f"the {name}"
