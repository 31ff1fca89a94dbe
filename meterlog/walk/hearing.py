"""What a watcher's signal means for the course of a walk, whether a reading or a press brought it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.walk import happenings as told
from meterlog.walk.course import timed
from meterlog.walk.phases import STAY, Phase
from meterlog.walk.settle import Advice, Froze, Live, Lost, Settled, Stage, StatedContact, Touched
from meterlog.walk.timed_watch import Ran, Runs
from meterlog.walk.watch import LeftPoints, OtherFunction

if TYPE_CHECKING:
    from meterlog.procedure.steps import Step
    from meterlog.walk.course import Course
    from meterlog.walk.happenings import Happening
    from meterlog.walk.watch import DisplayKey, WatchSignal


def hear(course: Course, key: DisplayKey, heard: WatchSignal, at: float) -> list[Happening]:
    """Take what a display's watcher found; what happened by it."""
    source, target = key[0], course.watch.target
    if isinstance(heard, LeftPoints):
        assert course.step is not None
        lifted = told.Lifted(step=course.step.key, at=at, source=source)
        return [lifted, *course.advance(course.after(course.step), at)]
    if isinstance(heard, Live):
        return course.found_live(source, heard, at)
    assert target is not None
    out: list[Happening] = []
    waits = course.step is not target or course.phase in (Phase.CAUTIONS, Phase.GATE)
    if waits and isinstance(heard, Touched | Settled | Stage | Runs):
        out = course.reach(target, at)
    match heard:
        case Runs(start):
            return out + course.run(target, start, at)
        case Ran(start, stop, capture):
            return [*out, timed(target, start, stop, at), *course.captured(key, capture, at)]
        case Settled(capture):
            return out + course.captured(key, capture, at)
    return out + _told(course, target, source, heard, at)


def _told(course: Course, target: Step, source: str, heard: WatchSignal, at: float) -> list[Happening]:
    """What only has to be said; how far a proof has come by it."""
    match heard:
        case OtherFunction(shows, mode):
            return [told.WrongFunction(
                step=target.key, at=at, source=source, shows=shows, wants=target.quantity,
                shows_mode=mode, wants_mode=target.mode,
            )]  # fmt: skip
        case Stage(wants):
            course.stage = wants
            return [told.Proof(step=target.key, at=at, source=source, wants=wants)]
        case StatedContact(shown):
            course.stage = STAY
            return [told.ContactSaid(step=target.key, at=at, source=source, shown=shown)]
        case Advice(words, stage):
            course.stage = course.stage if stage is None else stage
            course.advise(target, words)
            return [told.Advised(step=target.key, at=at, source=source, why=words)]
        case Lost(lasted_s, why, stage, is_whole):
            course.stage = stage
            course.advise(target, why)
            lost = told.NotTaken(step=target.key, at=at, source=source, lasted_s=lasted_s, why=why)
            return [lost, *(course.leave_unproved(target, why, at) if is_whole else [])]
        case Froze():
            return [told.Frozen(step=target.key, at=at, source=source)]
    return []
