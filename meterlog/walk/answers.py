"""What watches a link for a step, by the step's kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, assert_never

from meterlog.procedure.heating_step import is_carried
from meterlog.procedure.kinds import Watched
from meterlog.walk.at_time_watch import AtTime
from meterlog.walk.dead_proof import DEAD_VOLTS, DeadProof
from meterlog.walk.heated import HeatingLog
from meterlog.walk.live import Guarded
from meterlog.walk.open_proof import SHORT_OHMS, SHORT_VOLTS, ClosingShort, OpenProof, leads_refusal
from meterlog.walk.settle import Settler, Want, criterion_for, want_of
from meterlog.walk.sloped import Sloped
from meterlog.walk.timed_watch import Switched

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import Capture
    from meterlog.procedure.steps import Step
    from meterlog.walk.settle import DisplayStream, StepWatch

SWITCHED_BY = "switched by"
"""The input of a timed step that names what starts and stops it: a quantity that comes and goes, or a temperature
that rises and stands again."""


def wanted_by(step: Step) -> Want | None:
    """What a step looks for on the links, None where it looks for nothing."""
    match step.kind.watched:
        case Watched.SETTLED | Watched.SHORTED | Watched.DEAD | Watched.OPEN | Watched.AT_TIME:
            return want_of(step)
        case Watched.LOGGED:
            return Want(quantity="temperature")
        case Watched.SWITCHED:
            quantity = step.inputs.get(SWITCHED_BY)
            return Want(quantity=quantity) if quantity else None
        case Watched.NOTHING:
            return None
        case _:
            assert_never(step.kind.watched)


def answer_for(
    step: Step, want: Want, stream: DisplayStream, *, again: bool, lifted: bool
) -> StepWatch | Switched | Sloped:
    """The watcher of one link for a step.

    `again`: it was measured before; `lifted`: the leads are known to be off the last points.
    """
    criterion = criterion_for(step.quantity, step.settling)
    match step.kind.watched:
        case Watched.OPEN:
            return OpenProof(stream, criterion, step.hold_s, _short(step), lifted=lifted)
        case Watched.DEAD:
            return DeadProof(stream, criterion, step.hold_s, step.source_voltage or 0.0, dead_limit(step))
        case Watched.AT_TIME:
            return AtTime(stream, step.at_s or 0.0, lifted=lifted)
        case Watched.SHORTED:
            return Settler(want, stream, criterion, again=again, lifted=lifted, accepts=leads_refusal(_short(step)))
        case Watched.SWITCHED:
            return Sloped() if want.quantity == "temperature" else Switched()
        case Watched.LOGGED:
            return HeatingLog(stream, is_carried=is_carried(step))
        case Watched.SETTLED | Watched.NOTHING:
            return Settler(want, stream, criterion, again=again, lifted=lifted)
        case _:
            assert_never(step.kind.watched)


def closing_after(step: Step, capture: Capture, following: Step) -> ClosingShort | None:
    """What may still come of an open step that found a leak; None where the next step begins with shorted leads."""
    if (
        step.kind.watched is not Watched.OPEN
        or not capture.how.startswith("settled")
        or following.kind.watched in (Watched.OPEN, Watched.SHORTED)
    ):
        return None
    return ClosingShort(_short(step))


def guarded_by(step: Step, proofs: Sequence[tuple[Step, str]]) -> Guarded | None:
    """What must be dead while a step is at hand; `proofs`: those that it rests on, with the link that gave each.

    Of a step that rests on proofs only the meters that proved them are heard: another may stand at the mains
    outlet all day.
    """
    if step.kind.proves_dead:
        named = frozenset({step.instrument} - {""})
        return Guarded(limit=dead_limit(step), source=step.source_voltage or 0.0, instruments=named)
    if not proofs or not step.needs_dead:
        return None
    limit = max(dead_limit(proof) for proof, _ in proofs)
    source = max(proof.source_voltage or 0.0 for proof, _ in proofs)
    return Guarded(limit=limit, source=source, instruments=frozenset(link for _, link in proofs) - {""})


def _short(step: Step) -> float:
    return SHORT_VOLTS if step.quantity == "junction_voltage" else SHORT_OHMS


def dead_limit(step: Step) -> float:
    """What still counts as dead, V: the limit that the step prints."""
    tops = [limit.high for limit in step.limits if limit.high is not None and not limit.of]
    return max(tops) if tops else DEAD_VOLTS
