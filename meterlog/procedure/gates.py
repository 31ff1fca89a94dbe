"""What the steps of a procedure rest on, and what ends a result that others rest on.

One place for what the walk, the pages and the record call a gate: a step waits for those that it
needs; a proof that it is dead ends when mains comes on; what mains rests on ends when the appliance
is opened again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.judging.method import plain_name
from meterlog.procedure.kinds import Opens

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.procedure.steps import Procedure, Step

_SAFETY_QUANTITIES = frozenset({"insulation_resistance", "leakage_current"})
EARTH_METHOD = "protective conductor"
"""The method of the step that shows the protective conductor."""
CLASS = "protection class"
"""The entry that tells an appliance's class, where a procedure asks for it."""


def rests_on(procedure: Procedure, steps: Iterable[Step], *, past_mains: bool = True) -> frozenset[str]:
    """Keys of all steps that these need, and that those need; not beyond an energised one unless `past_mains`."""
    found: set[str] = set()
    todo = [key for step in steps for key in step.needs]
    while todo:
        key = todo.pop()
        step = procedure.step(key)
        if key in found or (step.energised and not past_mains):
            continue
        found.add(key)
        todo += step.needs
    return frozenset(found)


def is_inside(procedure: Procedure, step: Step) -> bool:
    """Whether a step touches points that are reached only with the cabinet open."""
    inside = {point.name for point in procedure.points if point.is_inside}
    return not inside.isdisjoint(step.points)


def ended_by_mains(procedure: Procedure) -> frozenset[str]:
    """Keys of the proofs that the appliance is dead, and of what was looked at for them: memories once mains was on."""
    resting = [step for step in procedure.steps if step.kind.proves_dead or step.needs_dead]
    looked = rests_on(procedure, resting, past_mains=False)
    return frozenset(
        step.key
        for step in procedure.steps
        if step.kind.proves_dead or (step.kind.opens is Opens.LOOK and step.key in looked)
    )


def ended_by_a_break(procedure: Procedure) -> frozenset[str]:
    """Keys of what nobody watched while the work was interrupted: proofs, and whatever was looked at for a gate."""
    looked = rests_on(procedure, procedure.steps)
    return ended_by_mains(procedure) | {
        step.key
        for step in procedure.steps
        if step.kind.opens is Opens.LOOK and step.key in looked and not step.energised
    }


def ended_by_opening(procedure: Procedure, opened: Step) -> frozenset[str]:
    """Keys of what is to be done again once a step is measured inside: what mains rests on, and the runs on mains.

    Not the proofs that let someone in, nothing that lies inside, and no run that the step itself waited for.
    """
    if not is_inside(procedure, opened):
        return frozenset()
    runs = [step for step in procedure.steps if step.energised]
    mains = rests_on(procedure, runs) | {step.key for step in runs}
    kept = ended_by_mains(procedure) | rests_on(procedure, [opened], past_mains=False)
    kept |= {step.key for step in runs} & rests_on(procedure, [opened])
    return frozenset(
        step.key
        for step in procedure.steps
        if step.key in mains - kept and not step.kind.is_null and not is_inside(procedure, step)
    )


def shows_earth(step: Step) -> bool:
    """Whether a step shows the protective conductor, however its method is spelled."""
    return plain_name(step.method) == EARTH_METHOD


def is_safety_check(procedure: Procedure, step: Step) -> bool:
    """Whether safety is judged by it: insulation, leakage, protective conductor, and what else mains rests on."""
    if step.quantity in _SAFETY_QUANTITIES or shows_earth(step):
        return True
    mains = rests_on(procedure, (each for each in procedure.steps if each.energised))
    return step.key in mains and bool(step.limits) and not step.energised


def is_of_another_class(step: Step, entries: Mapping[str, str]) -> bool:
    """Whether a check is for another class than the one that was entered: II and III have no protective conductor."""
    return shows_earth(step) and entries.get(CLASS) in ("II", "III")


def class_hint(procedure: Procedure, step: Step) -> str:
    """How to go on where a protective conductor is asked for and the appliance has none; "" at any other check."""
    if not shows_earth(step):
        return ""
    way = (
        f'enter "{CLASS}=II", and skip it with the double square on the plate as the reason'
        if CLASS in procedure.entries
        else "lay this job aside, and open it under a procedure for class II"
    )
    return f"an appliance of class II has none: {way}"


def may_be_passed_over(procedure: Procedure, step: Step) -> bool:
    """Whether a step may be left unanswered without a word: nothing rests on it and no safety is judged by it."""
    if step.kind.is_left_in_words or is_safety_check(procedure, step):
        return False
    return all(step.key not in other.needs for other in procedure.steps)
