"""What a procedure states of faults as a model for one complaint, and how much of it is guessed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.diagnosis.model import Model, ModelledCheck, ModelledFault, SuspectPart

if TYPE_CHECKING:
    from meterlog.procedure.faults import StatedDiagnosis
    from meterlog.procedure.steps import Procedure, Step

_DEFAULT_ELSE = 2.0


def model_for(procedure: Procedure, complaint: str) -> Model | None:
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


def guesses(procedure: Procedure, complaint: str) -> str:
    """How many of the weights that a suggestion rests on are guesses; that of something else always is one."""
    faults = procedure.diagnosis.faults if procedure.diagnosis else ()
    marks = [fault.mark for fault in faults if complaint in fault.weights]
    return f"{marks.count('guess') + 1} of its {len(marks) + 1} weights are guesses."
