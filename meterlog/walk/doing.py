"""What each act does to the course of a walk. An act that does not fit is refused, with what would."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.base.readings import Timing
from meterlog.procedure.heating_step import CARRIED
from meterlog.procedure.typed import read_typed, typed_capture
from meterlog.walk import happenings as told
from meterlog.walk.course import overrode, timed
from meterlog.walk.hearing import hear
from meterlog.walk.phases import UNDER, Phase
from meterlog.walk.settle import Refuse
from meterlog.walk.timed_watch import Edge, timed_capture

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.walk.acts import Act
    from meterlog.walk.course import Course
    from meterlog.walk.happenings import Happening


BEGINS = frozenset({"next", "back", "again", "go to", "skip", "confirm", "wanting", "start", "type", "immersed"})
"""Who does one of these is past the procedure's cautions."""


def do(course: Course, act: Act, at: float) -> list[Happening]:
    """Take what the person does. An act that is done is told first, under the step that it was meant for."""
    misfit = course.misfit(act, at)
    if misfit:
        return _refuse(course, act, at, misfit)
    if course.phase is Phase.LIVE and act.word not in ("acknowledge", "press", "note"):
        return _refuse(course, act, at, f"{Phase.LIVE.words} First say that you have seen it.")
    meant_for = act.step if act.step is not None else course.step.key if course.step else ""
    granted: list[Happening] = []
    if act.word in BEGINS and course.step is None and course.is_granted():
        granted = course.reach(course.first, at)
    elif act.word in ("confirm", "wanting", "start", "type") and course.step is not None and course.is_granted():
        granted = course.grant(course.step, at)
    done = _ACTS[act.word](course, act, at)
    if any(isinstance(each, told.Refused) for each in done):
        return granted + done
    return [told.Acted(step=meant_for, at=at, word=act.word, act=act.id, to=act.to, who=act.who), *granted, *done]


def _refuse(course: Course, act: Act, at: float, why: str) -> list[Happening]:
    return [told.Refused(step=course.step.key if course.step else "", at=at, word=act.word, why=why)]


def _acknowledge(course: Course, act: Act, at: float) -> list[Happening]:
    step = course.step
    if course.phase is Phase.LIVE:
        return course.acknowledge(at, act.who)
    if course.phase is not Phase.CAUTIONS:
        return _refuse(course, act, at, "No cautions wait to be acknowledged.")
    done = course.acknowledge(at, act.who)
    return [*done, *(course.pass_gate(step, at) if step else course.advance(course.first, at))]


def _next(course: Course, act: Act, at: float) -> list[Happening]:
    step = course.step
    if step is None:
        return _refuse(course, act, at, "No step is at hand: acknowledge the cautions, or go to a step.")
    if course.ledger.is_answered(step):
        steps = course.procedure.steps
        later = steps[steps.index(step) + 1 :]
        return course.advance(later[0] if later else course.after(step), at)
    if course.must_be_answered(step):
        why = "Others rest on this check, or safety does: answer it, or skip it with the reason."
        return _refuse(course, act, at, why)
    return course.leave(step, "passed over", at, who=act.who)


def _back(course: Course, act: Act, at: float) -> list[Happening]:
    index = course.procedure.steps.index(course.step) if course.step else len(course.procedure.steps)
    if index == 0 or _not_yet(course):
        return _refuse(course, act, at, "There is no step before this one.")
    return course.begin(course.procedure.steps[index - 1], at, again=True)


def _measure_again(course: Course, act: Act, at: float) -> list[Happening]:
    if course.step is None:
        return _refuse(course, act, at, "No step is at hand: go to the one that is to be measured again.")
    return course.begin(course.step, at, again=True)


def _go_to(course: Course, act: Act, at: float) -> list[Happening]:
    if _not_yet(course):
        return _refuse(course, act, at, "Acknowledge the procedure's cautions first.")
    step = next((step for step in course.procedure.steps if step.key == act.to), None)
    if step is None:
        return _refuse(course, act, at, f"This procedure has no step {act.to!r}.")
    return course.begin(step, at, again=True)


def _not_yet(course: Course) -> bool:
    return course.step is None and course.phase is Phase.CAUTIONS


def _skip(course: Course, act: Act, at: float) -> list[Happening]:
    if course.step is None or not act.text:
        return _refuse(
            course, act, at, "Write the reason for skipping a step." if course.step else "No step is at hand."
        )
    return course.leave(course.step, "skipped", at, act.text, act.who)


def _note(course: Course, act: Act, at: float) -> list[Happening]:
    here = course.step.key if course.step else ""
    return [told.Noted(step=here if act.step is None else act.step, at=at, text=act.text, who=act.who)]


def _override(course: Course, act: Act, at: float) -> list[Happening]:
    step = course.step
    if step is None or course.phase is not Phase.GATE:
        return _refuse(course, act, at, "No step waits for others.")
    if not act.text:
        return _refuse(course, act, at, "Write the reason for going on without what this step waits for.")
    return [overrode(step, course.ledger.override(step), at, act.text, act.who), *course.open(step, at)]


def _confirm(course: Course, act: Act, at: float) -> list[Happening]:
    step = course.step
    if step is not None and course.phase is Phase.LOOK:
        return course.leave(step, "looked", at, act.text, act.who)
    if step is None or course.phase not in (Phase.WATCH, Phase.STIR, Phase.START, Phase.AFTER):
        return _refuse(course, act, at, "Nothing waits to be confirmed.")
    found = course.watch.confirm(at) if course.watch.target is step else []
    for key, heard in found:
        if isinstance(heard, Refuse):
            return _refuse(course, act, at, heard.why)
        return hear(course, key, heard, at)
    return _refuse(course, act, at, "Nothing steady shows at the points at this moment.")


def _wanting(course: Course, act: Act, at: float) -> list[Happening]:
    if course.step is None or course.phase is not Phase.LOOK:
        return _refuse(course, act, at, "Only a step that is looked at can be found wanting.")
    if not act.text:
        return _refuse(course, act, at, "Write what is not well: it stands in the record.")
    return course.leave(course.step, "found wanting", at, act.text, act.who)


def _type(course: Course, act: Act, at: float) -> list[Happening]:
    """A reading that was typed answers the step, where the links are watched for one."""
    step = course.step
    if step is None or course.phase is not Phase.WATCH:
        return _refuse(course, act, at, "No check waits for a reading.")
    try:
        typed = read_typed(act.text)
        capture = typed_capture(step, typed, at)
    except WrongValue as wrong:
        return _refuse(course, act, at, str(wrong))
    source = {"words": typed.words, "instrument": typed.instrument, "accuracy": typed.accuracy}
    told_first = told.ReadingTyped(step=step.key, at=at, who=act.who, **source)
    return [told_first, *course.captured(("", ""), capture, at)]


def _start(course: Course, act: Act, at: float) -> list[Happening]:
    step = course.step
    if step is None or course.phase not in (Phase.STIR, Phase.START):
        return _refuse(course, act, at, "No timed step waits to be started.")
    course.stage = ""
    return course.run(step, Edge(at, act.uncertainty_s), at)


def _stop(course: Course, act: Act, at: float) -> list[Happening]:
    step, start = course.step, course.started
    if step is None or course.phase is not Phase.RUN or start is None:
        return _refuse(course, act, at, "No timed step runs.")
    ran = timed(step, start, Edge(at, act.uncertainty_s), at)
    if step.kind.is_run:
        course.phase, course.stage, course.started = Phase.AFTER, course.vessels[0], Edge(at, act.uncertainty_s)
        timing = Timing(start.at, at, start.uncertainty_s, act.uncertainty_s)
        course.watch.tell_log(lambda log: log.heated(timing))
        return [ran]
    return [ran, *course.captured(("", ""), timed_capture(start.at, at), at)]


def _immersed(course: Course, act: Act, at: float) -> list[Happening]:
    """The whole probe is under, in one of the loads: the next that is asked for, or the one that is named."""
    step, vessels = course.step, course.vessels
    if step is None or not step.kind.is_run or course.phase not in (Phase.STIR, Phase.START, Phase.AFTER):
        return _refuse(course, act, at, "No heating run waits for the probe.")
    load = act.to or (course.stage if course.stage in vessels else vessels[0])
    if load not in vessels:
        known = f"Name the {' or the '.join(vessels)}." if vessels == CARRIED else "Name none: there is one load."
        return _refuse(course, act, at, known)
    course.watch.tell_log(lambda log: log.immersed(load, at))
    is_last = load == vessels[-1]
    course.stage = vessels[-1] if not is_last else UNDER if course.phase is Phase.AFTER else ""
    if is_last and course.phase is Phase.STIR:
        course.phase = Phase.START
    return []


def _press(course: Course, act: Act, at: float) -> list[Happening]:
    """A pedal: the one act that the phase gives it."""
    granted: list[Happening] = []
    if course.step is not None and course.phase is Phase.GATE and course.is_granted():
        granted = course.grant(course.step, at)
    if not course.phase.press:
        return _refuse(course, act, at, f"A pedal does nothing here. {course.phase.words}")
    return granted + _ACTS[course.phase.press](course, act, at)


_ACTS: dict[str, Callable[[Course, Act, float], list[Happening]]] = {
    "acknowledge": _acknowledge,
    "next": _next,
    "back": _back,
    "again": _measure_again,
    "go to": _go_to,
    "skip": _skip,
    "note": _note,
    "override": _override,
    "immersed": _immersed,
    "confirm": _confirm,
    "wanting": _wanting,
    "start": _start,
    "stop": _stop,
    "press": _press,
    "type": _type,
}
