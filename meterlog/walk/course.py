"""The course of a walk: which step is at hand, what it waits for, what comes next.

A step begins, its cautions are acknowledged, its gate opens, the links are watched for its answer, the
leads are lifted, and the next begins. In a replay what nobody said is granted once points are touched.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.procedure import gates
from meterlog.procedure.heating_step import CARRIED, is_carried
from meterlog.procedure.kinds import Opens
from meterlog.walk import happenings as told
from meterlog.walk.acts import PEDAL
from meterlog.walk.answers import closing_after, guarded_by, wanted_by
from meterlog.walk.heated import HeatingLog
from meterlog.walk.ledger import Ledger
from meterlog.walk.phases import AGAIN, BACK, IMMERSED, NOTE, SKIP, TAKE_IT, TYPE, Offer, Phase
from meterlog.walk.watch import Watch

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.base.readings import Capture
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.walk.acts import Act
    from meterlog.walk.happenings import Happening
    from meterlog.walk.settle import Live
    from meterlog.walk.timed_watch import Edge
    from meterlog.walk.watch import DisplayKey


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


TURNED_S = 0.7
"""A pedal takes no press for so long after what it means has changed: the foot was on its way. Common practice, no
source: longer than a double press, shorter than a thought."""
_OPENED = {
    Opens.LOOK: Phase.LOOK,
    Opens.WATCH: Phase.WATCH,
    Opens.START: Phase.START,
    Opens.STIR: Phase.STIR,
}
"""The phase of a step whose gate is open; one that is computed has none."""
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
        entries: Callable[[], Mapping[str, str]],
    ) -> None:
        self.procedure, self.ledger, self.watch = procedure, Ledger(procedure, entries), Watch(at, gives)
        self.first, self.phase = first, Phase.CAUTIONS
        self.step: Step | None = None
        self.started: Edge | None = None
        self.stage = ""
        self._advised = ("", "", "")
        self.live: Live | None = None
        self.unseen: Live | None = None
        self.read: set[str] = set()
        self._assume, self._conclude = assume, conclude
        self._steps, self._again = procedure.steps, False
        self.turned_at = float("-inf")
        self.safety = frozenset(each.key for each in procedure.steps if gates.is_safety_check(procedure, each))
        self._may_pass = frozenset(e.key for e in procedure.steps if gates.may_be_passed_over(procedure, e))
        self._held: Step | None = None
        self._mains_is_on = False

    def start(self, at: float) -> list[Happening]:
        """The first step is at hand, once the procedure's cautions are acknowledged.

        Before all that, a live point that nobody had seen when the walk broke off.
        """
        if self.unseen is not None:
            self.step, self.phase, self.live = self.first, Phase.LIVE, self.unseen
            return []
        if not self.procedure.cautions:
            return self.advance(self.first, at)
        if self._assume.acknowledged:
            self._aim(self.first)
        return []

    # What answers a step ----------------------------------------------------------------------

    def run(self, step: Step, start: Edge, at: float) -> list[Happening]:
        """A timed step runs since `start`."""
        self.started, self.phase = start, Phase.RUN
        self.watch.tell_log(HeatingLog.begun)
        return [told.Started(step=step.key, at=start.at, uncertainty_s=start.uncertainty_s)]

    def captured(self, key: DisplayKey, capture: Capture, at: float) -> list[Happening]:
        """The step at hand is answered: conclude it, and wait for a lift where the next could be mistaken."""
        step = self.step
        assert step is not None
        self.ledger.take(step, key[0], capture)
        if self._conclude:
            self.ledger.judge(step.key, self._conclude(step))
        self.watch.remember(key, capture)
        self.started, self.stage = None, ""
        captured = told.Captured(step=step.key, at=at, source=key[0], capture=capture)
        following = self.after(step)
        if following is not None and self._could_mistake(key, capture, following):
            self.watch.await_lift(key, capture, at, closing_after(step, capture, following))
            self.phase = Phase.LIFT
            return [captured]
        return [captured, *self.advance(following, at)]

    def _could_mistake(self, key: DisplayKey, capture: Capture, following: Step) -> bool:
        """Whether the leads, still on these points, would answer the next step too."""
        target = self._target_of(following)
        want = wanted_by(target) if target else None
        if target is None or want is None or not self.watch.has(key):
            return False
        return target.instrument in ("", key[0]) and want.matches(capture.form)

    def found_live(self, source: str, live: Live, at: float) -> list[Happening]:
        """Points that should be dead are not: nothing proved before counts any more, until it was seen nothing else."""
        key = self.step.key if self.step else ""
        self.stage = ""
        self.read.clear()
        found = told.LivePoint(step=key, at=at, source=source, value=live.value, shown=live.shown)
        out = [found, *self._ended(self.ledger.mains_on(), "a live point was found", at)]
        if self.step is not None and not self._assume.acknowledged:
            self.phase, self.live = Phase.LIVE, live
            self.watch.aim(None)
        return out

    def _ended(self, keys: tuple[str, ...], why: str, at: float) -> list[Happening]:
        return [told.ProofsEnded(step=self.step.key if self.step else "", at=at, keys=keys, why=why)] if keys else []

    def advise(self, step: Step, words: str) -> None:
        """What the person is to do now, for as long as the step stands where it stands."""
        self._advised = (step.key, self.stage, words)

    @property
    def advice(self) -> str:
        """What was advised where the step still stands, as a sentence; "" where nothing was."""
        key, stage, words = self._advised
        if not words or self.step is None or (key, stage) != (self.step.key, self.stage):
            return ""
        return f"{words[0].upper()}{words[1:]}."

    # From step to step ------------------------------------------------------------------------

    def advance(self, step: Step | None, at: float) -> list[Happening]:
        if step is not None:
            return self.begin(step, at)
        self.step, self.phase = None, Phase.DONE
        self.watch.aim(None)
        return [told.JobDone(step="", at=at)]

    def begin(self, step: Step, at: float, *, again: bool = False) -> list[Happening]:
        """Put a step at hand, and open it where nothing holds it back."""
        self.step, self.started, self.stage, self._again, self.live = step, None, "", again, None
        if self._held is not None and step.key not in {self._held.key, *gates.rests_on(self.procedure, [self._held])}:
            self._held = None
        if again:
            self.watch.aim(None)
        self._guard(step)
        out: list[Happening] = [told.StepBegan(step=step.key, at=at), *self._mains(step, at)]
        if not self.unread(step):
            return out + self.pass_gate(step, at)
        self.phase = Phase.CAUTIONS
        self._aim(step if self._assume.acknowledged else None)
        return out

    def _guard(self, step: Step) -> None:
        """Look out for live points while a step is at hand that shows dead, or rests on what was shown."""
        proofs = []
        for key in step.needs:
            proof = self.procedure.step(key)
            if proof.kind.proves_dead:
                taken = self.ledger.counting(proof)
                proofs.append((proof, taken.source if taken else ""))
        self.watch.guard(guarded_by(step, proofs))

    def _mains(self, step: Step, at: float) -> list[Happening]:
        """Mains comes on or goes off with a step: its hazards are back, and what was proved dead is a memory."""
        if step.energised != self._mains_is_on and (step.energised or step.kind.proves_dead or step.needs_dead):
            self._mains_is_on = step.energised
            self.read.clear()
        if not step.energised:
            return []
        keep = gates.rests_on(self.procedure, [step])
        return self._ended(self.ledger.mains_on(keep), "mains may be on", at)

    def unread(self, step: Step | None) -> tuple[str, ...]:
        """The cautions of a step, or of the procedure, that are still to be acknowledged.

        Each once a job, and again when its hazard has come back: mains on or off, a live point, a break.
        """
        cautions = step.cautions if step else self.procedure.cautions
        return tuple(caution for caution in cautions if caution not in self.read)

    def acknowledge(self, at: float, who: str = "") -> list[Happening]:
        """The cautions at hand were read; or a live point was seen, and its step begins again."""
        step = self.step
        key = step.key if step else ""
        if step is not None and self.phase is Phase.LIVE:
            seen = told.Acknowledged(step=key, at=at, who=who)
            if self.unseen is None:
                return [seen, *self.begin(step, at, again=True)]
            self.step, self.phase, self.live, self.unseen = None, Phase.CAUTIONS, None, None
            return [seen, *self.start(at)]
        unread = self.unread(step)
        self.read.update(unread)
        return [told.Acknowledged(step=key, at=at, who=who, cautions=unread)]

    def pass_gate(self, step: Step, at: float) -> list[Happening]:
        missing = self.ledger.missing(step)
        if not missing:
            return self.open(step, at)
        self.phase = Phase.GATE
        self._aim(step if self._assume.gates else None)
        if self._assume.gates:
            return []
        self._held = step
        return [told.Waiting(step=step.key, at=at, needs=missing)]

    def open(self, step: Step, at: float) -> list[Happening]:
        """Watch for the step's answer; a computed step answers itself."""
        if self._held is step:
            self._held = None
        if step.kind.opens is Opens.COMPUTED:
            passed = told.Passed(step=step.key, at=at, how="computed")
            self.ledger.judge(step.key, self._conclude(step) if self._conclude else "not judged")
            return [passed, *self.advance(self.after(step), at)]
        self.phase = _OPENED[step.kind.opens]
        self.stage = self.vessels[0] if step.kind.opens is Opens.STIR else self.stage
        self._aim(step)
        if step.energised:
            return self._ended(self.ledger.mains_on(), "mains is on", at)
        ended = self.ledger.opened(step)
        return [told.Reopened(step=step.key, at=at, keys=ended)] if ended else []

    def _aim(self, step: Step | None) -> None:
        """Watch the links for what may answer while a step is at hand."""
        target = self._target_of(step) if step else None
        if target is None or target is not self.watch.target:
            self.watch.aim(target, again=self._again)

    def leave(self, step: Step, how: str, at: float, reason: str = "", who: str = "") -> list[Happening]:
        """Pass a step without a capture, and go on."""
        self.ledger.leave(step, how)
        captures = len(self.ledger.captures(step.key))
        passed = told.Passed(step=step.key, at=at, how=how, reason=reason, who=who, captures=captures)
        return [passed, *self.advance(self.after(step), at)]

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
            out += [*self.acknowledge(at), *self._reached(self.first, at)]
        while self.step is not None and self.step is not target:
            self.ledger.leave(self.step, "not judged")
            out.append(told.Passed(step=self.step.key, at=at, how="not judged", reason="nobody said"))
            following = self.unanswered_after(self.step)
            assert following is not None
            out += self._reached(following, at)
        return out + self.grant(target, at)

    def _reached(self, step: Step, at: float) -> list[Happening]:
        self.step, self.phase = step, Phase.CAUTIONS
        return [told.StepBegan(step=step.key, at=at), *self._mains(step, at)]

    def grant(self, step: Step, at: float) -> list[Happening]:
        """Take a step's cautions for read and its gate for passed, as far as that is assumed."""
        self._guard(step)
        out: list[Happening] = []
        if self.phase is Phase.CAUTIONS and self.unread(step):
            out += self.acknowledge(at)
        missing = self.ledger.missing(step)
        if missing and self.phase not in _OPENED.values():
            out.append(overrode(step, missing, at))
        return out + self.open(step, at)

    def after(self, step: Step) -> Step | None:
        """What comes next: what a step held at its gate still waits for, that step, or the next unanswered."""
        held = self._held
        if held is None or held is step or self.ledger.stands(held):
            return self.unanswered_after(step)
        first = self.ledger.first_missing(held)
        return held if first is None or first is step else first

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

    @property
    def vessels(self) -> tuple[str, ...]:
        """The loads that one probe is carried between in the heating run at hand; ("",) where it stays with one."""
        return CARRIED if self.step is not None and is_carried(self.step) else ("",)

    def offers(self) -> tuple[Offer, ...]:
        """The acts that answer the phase, the main one first: at a gate, the way to what is waited for."""
        step, acts = self.step, self.phase.acts
        if step is None:
            return acts
        if self.phase is Phase.GATE:
            first = self.ledger.first_missing(step)
            way = (Offer(word="go to", label=f"To: {first.title}", to=first.key),) if first else ()
            return (*way, *acts)
        if self.vessels == CARRIED and IMMERSED in acts:
            each = (replace(IMMERSED, to=one, label=f"The whole probe is under in the {one}") for one in CARRIED)
            acts = (*each, *acts[1:])
        if self.phase is Phase.WATCH and not step.points:
            acts = tuple(TAKE_IT if offer.word == TAKE_IT.word else offer for offer in acts)
        return tuple(offer for offer in acts if offer.word != "next" or not self.must_be_answered(step))

    def more(self) -> tuple[Offer, ...]:
        """The acts that are open besides."""
        if self.step is None or self.phase is Phase.LIVE:
            return ()
        is_typed = self.phase is Phase.WATCH and self.step.kind.may_be_typed
        return (*((TYPE,) if is_typed else ()), BACK, AGAIN, NOTE, SKIP)

    def must_be_answered(self, step: Step) -> bool:
        """Whether a step is not left without a word: see `gates.may_be_passed_over`."""
        return not self.ledger.is_answered(step) and step.key not in self._may_pass

    def misfit(self, act: Act, at: float) -> str:
        """Why an act no longer fits what is asked now, and where the walk stands; "" when it fits."""
        here = self.step.key if self.step else ""
        is_pedal = act.word == "press" or act.who == PEDAL
        if is_pedal and at - self.turned_at < TURNED_S and not self._assume.gates:
            return f"What a pedal means had only just changed. {self.phase.words} Press again."
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
