"""The course of a walk: which step is at hand, what it waits for, what comes next.

A step begins, its cautions are acknowledged, its gate opens, the links are watched for its answer, the
leads are lifted, and the next begins. In a replay what nobody said is granted once points are touched.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.procedure.steps import StepKind
from meterlog.walk import happenings as told
from meterlog.walk.answers import closing_after, wanted_by
from meterlog.walk.ledger import Ledger
from meterlog.walk.phases import AGAIN, BACK, NOTE, SKIP, Offer, Phase
from meterlog.walk.watch import Watch

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.base.readings import Capture
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.walk.acts import Act
    from meterlog.walk.happenings import Happening
    from meterlog.walk.settle import Live
    from meterlog.walk.timed import Edge
    from meterlog.walk.watch import Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Assume:
    """What a walk takes for granted because nobody is there to say it: in a replay, everything.

    What was recorded is played all the same; only once points are touched is what nobody said taken
    for granted, and told.

    Attributes:
        acknowledged: cautions were read.
        gates: a step is measured only when it was allowed; what did not pass is kept as an override.
        hands_free: a step that only an act answers, or that wants what no instrument gives, is left
            once a later step's points are touched.
    """

    acknowledged: bool = False
    gates: bool = False
    hands_free: bool = False


_OPENED = {StepKind.LOOK: Phase.LOOK, StepKind.TIMED: Phase.START, StepKind.HEATING: Phase.START}
_OPENED_PHASES = (Phase.WATCH, *_OPENED.values())
NOTHING = Assume()
REPLAY = Assume(acknowledged=True, gates=True, hands_free=True)
ASSUMED = "assumed in a replay"


class Course:
    """A walk's way through the steps of a procedure, from `first`. `gives` and `conclude` as in `Walk`."""

    def __init__(
        self,
        procedure: Procedure,
        at: float,
        first: Step,
        assume: Assume,
        gives: Mapping[str, frozenset[str]],
        conclude: Callable[[Step], str] | None,
    ) -> None:
        self.procedure, self.ledger, self.watch = procedure, Ledger(procedure), Watch(at, gives)
        self.first, self.phase = first, Phase.CAUTIONS
        self.step: Step | None = None
        self.started: Edge | None = None
        self.stage = ""
        self.last_captured: Step | None = None
        self._assume, self._conclude = assume, conclude
        self._steps, self._again = procedure.steps, False

    def start(self, at: float) -> list[Happening]:
        """The first step is at hand, once the procedure's cautions are acknowledged."""
        if not self.procedure.cautions:
            return self.advance(self.first, at)
        if self._assume.acknowledged:
            self._aim(self.first)
        return []

    # What answers a step ----------------------------------------------------------------------

    def run(self, step: Step, start: Edge, at: float) -> list[Happening]:
        """A timed step runs since `start`."""
        self.started, self.phase = start, Phase.RUN
        return [told.Started(step=step.key, at=start.at, uncertainty_s=start.uncertainty_s)]

    def captured(self, key: Key, capture: Capture, at: float) -> list[Happening]:
        """The step at hand is answered: conclude it, and wait for a lift where the next could be mistaken."""
        step = self.step
        assert step is not None
        self.ledger.take(step, key[0], capture)
        if self._conclude:
            self.ledger.judge(step.key, self._conclude(step))
        self.watch.remember(key, capture)
        self.last_captured, self.started, self.stage = step, None, ""
        captured = told.Captured(step=step.key, at=at, source=key[0], capture=capture)
        following = self.unanswered_after(step)
        if following is not None and self._could_mistake(key, capture, following):
            self.watch.await_lift(key, capture, at, closing_after(step, capture, following))
            self.phase = Phase.LIFT
            return [captured]
        return [captured, *self.advance(following, at)]

    def _could_mistake(self, key: Key, capture: Capture, following: Step) -> bool:
        """Whether the leads, still on these points, would answer the next step too."""
        target = self._target_of(following)
        want = wanted_by(target) if target else None
        if target is None or want is None or not self.watch.has(key):
            return False
        return target.instrument in ("", key[0]) and want.matches(capture.form)

    def found_live(self, source: str, live: Live, at: float) -> list[Happening]:
        """Points that should be dead are not: nothing proved before counts any more."""
        step = self.step
        self.stage = ""
        self.ledger.energise()
        return [told.LivePoint(step=step.key if step else "", at=at, source=source, value=live.value, shown=live.shown)]

    # From step to step ------------------------------------------------------------------------

    def advance(self, step: Step | None, at: float) -> list[Happening]:
        if step is not None:
            return self.begin(step, at)
        self.step, self.phase = None, Phase.DONE
        self.watch.aim(None)
        return [told.JobDone(step="", at=at)]

    def begin(self, step: Step, at: float, *, again: bool = False) -> list[Happening]:
        """Put a step at hand, and open it where nothing holds it back."""
        self.step, self.started, self.stage, self._again = step, None, "", again
        if again:
            self.watch.aim(None)
        self.watch.guard(step)
        out: list[Happening] = [told.StepBegan(step=step.key, at=at)]
        if step.energised:
            self.ledger.energise()
        if not step.cautions:
            return out + self.pass_gate(step, at)
        self.phase = Phase.CAUTIONS
        self._aim(step if self._assume.acknowledged else None)
        return out

    def pass_gate(self, step: Step, at: float) -> list[Happening]:
        missing = self.ledger.missing(step)
        if not missing:
            return self.open(step, at)
        self.phase = Phase.GATE
        self._aim(step if self._assume.gates else None)
        return [] if self._assume.gates else [told.Waiting(step=step.key, at=at, needs=missing)]

    def open(self, step: Step, at: float) -> list[Happening]:
        """Watch for the step's answer; a computed step answers itself."""
        if step.kind is StepKind.DERIVED:
            passed = told.Passed(step=step.key, at=at, how="computed")
            self.ledger.judge(step.key, self._conclude(step) if self._conclude else "not judged")
            return [passed, *self.advance(self.unanswered_after(step), at)]
        self.phase = _OPENED.get(step.kind, Phase.WATCH)
        self._aim(step)
        return []

    def _aim(self, step: Step | None) -> None:
        """Watch the links for what may answer while a step is at hand."""
        target = self._target_of(step) if step else None
        if target is None or target is not self.watch.target:
            self.watch.aim(target, again=self._again)

    def leave(self, step: Step, how: str, at: float, reason: str = "", who: str = "") -> list[Happening]:
        """Pass a step without a capture, and go on."""
        self.ledger.leave(step, how)
        passed = told.Passed(step=step.key, at=at, how=how, reason=reason, who=who)
        return [passed, *self.advance(self.unanswered_after(step), at)]

    def leave_unproved(self, step: Step, why: str, at: float) -> list[Happening]:
        """In a replay nobody can do a proof once more: it ends as not proved. On a bench it stays at hand."""
        if not self._assume.hands_free:
            return []
        reached = self.reach(step, at) if self.step is not step else []
        return [*reached, *self.leave(step, "not proved", at, why)]

    def reach(self, target: Step, at: float) -> list[Happening]:
        """Points are touched: what nobody said is taken for granted, what stands between is left."""
        out: list[Happening] = []
        if self.step is None:
            out.append(told.Acknowledged(step="", at=at))
            self.step = self.first
            out.append(told.StepBegan(step=self.step.key, at=at))
        while self.step is not target:
            self.ledger.leave(self.step, "not judged")
            out.append(told.Passed(step=self.step.key, at=at, how="not judged", reason="nobody said"))
            following = self.unanswered_after(self.step)
            assert following is not None
            self.step, self.phase = following, Phase.CAUTIONS
            out.append(told.StepBegan(step=following.key, at=at))
            if following.energised:
                self.ledger.energise()
        return out + self.grant(target, at)

    def grant(self, step: Step, at: float) -> list[Happening]:
        """Take a step's cautions for read and its gate for passed, as far as that is assumed."""
        self.watch.guard(step)
        out: list[Happening] = []
        if self.phase is Phase.CAUTIONS and step.cautions:
            out.append(told.Acknowledged(step=step.key, at=at))
        missing = self.ledger.missing(step)
        if missing and self.phase not in _OPENED_PHASES:
            out.append(overrode(step, missing, at))
        return out + self.open(step, at)

    def unanswered_after(self, step: Step) -> Step | None:
        """The next step without an answer, in order; then those left out before."""
        index = self._steps.index(step) + 1
        for following in (*self._steps[index:], *self._steps[:index]):
            if not self.ledger.is_answered(following):
                return following
        return None

    def _target_of(self, step: Step) -> Step | None:
        """The step whose points are watched for while `step` is at hand.

        Itself; in a hands-free walk, where only an act could answer it or no instrument there gives
        what it wants, the first that readings can answer.
        """
        if not self._assume.hands_free:
            return step if wanted_by(step) else None
        later = (s for s in self._steps[self._steps.index(step) + 1 :] if not self.ledger.is_answered(s))
        return next((s for s in (step, *later) if self.watch.could_answer(s)), None)

    def offers(self) -> tuple[Offer, ...]:
        """The acts that the phase asks for, the main one first."""
        return self.phase.acts

    def more(self) -> tuple[Offer, ...]:
        """The acts that are open besides."""
        if self.step is None:
            return ()
        return (BACK, AGAIN, NOTE, SKIP)

    def misfit(self, act: Act) -> str:
        """Why an act no longer fits what is asked now, and where the walk stands; "" when it fits."""
        here = self.step.key if self.step else ""
        if act.step is None or (act.step == here and act.phase == self.phase):
            return ""
        if act.word == "note" and act.step in (each.key for each in self._steps):
            return ""
        meant = self._named(act.step)
        now = f"the walk stands at {self._named(here)}" if act.step != here else "there the walk has gone on"
        return f"That was meant for {meant}; {now}: {self.phase.words} Nothing was done."

    def _named(self, key: str) -> str:
        title = next((step.title for step in self._steps if step.key == key), "")
        if title:
            return f"“{title}”"
        if key:
            return f"{key!r}, which is no step of this job"
        return "the end of the job" if self.phase is Phase.DONE else "the cautions of the job"

    def is_granted(self) -> bool:
        """Whether what the step at hand waits for is taken for granted."""
        cautions = self.phase is Phase.CAUTIONS and self._assume.acknowledged
        return cautions or (self.phase is Phase.GATE and self._assume.gates)


def timed(step: Step, start: Edge, stop: Edge, at: float) -> told.Timed:
    return told.Timed(
        step=step.key,
        at=at,
        started=start.at,
        stopped=stop.at,
        start_uncertainty_s=start.uncertainty_s,
        stop_uncertainty_s=stop.uncertainty_s,
    )


def overrode(step: Step, needs: tuple[str, ...], at: float, reason: str = ASSUMED, who: str = "") -> told.Overrode:
    return told.Overrode(step=step.key, at=at, needs=needs, reason=reason, who=who)
