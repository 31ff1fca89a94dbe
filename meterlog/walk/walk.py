"""The walk through a procedure: which step is at hand, what answers it, what comes next.

Pure: takes readings of all links, acts and time; answers happenings. Live and replay drive the same
walk. Steps advance by themselves, after a capture and a lift of the leads; acts may take any order.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from meterlog.procedure.steps import StepKind
from meterlog.readings import Timing
from meterlog.settle import Froze, Lost, Settled, Stage, Touched
from meterlog.walk import happenings as told
from meterlog.walk.answers import wanted_by
from meterlog.walk.ledger import Ledger
from meterlog.walk.timed import Edge, Ran, Runs, timed_capture
from meterlog.walk.watch import LeftPoints, OtherFunction, Watch

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.procedure.steps import Procedure, Step
    from meterlog.readings import Capture, Reading
    from meterlog.walk.acts import Act
    from meterlog.walk.happenings import Happening
    from meterlog.walk.watch import Heard, Key


class Phase(StrEnum):
    """What the step at hand waits for."""

    CAUTIONS = "cautions"
    GATE = "gate"
    LOOK = "look"
    WATCH = "watch"
    RUN = "run"  # a timed step, started
    AFTER = "after"  # a heating run, switched off: stir, read
    LIFT = "lift"
    DONE = "done"


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


NOTHING = Assume()
REPLAY = Assume(acknowledged=True, gates=True, hands_free=True)
ASSUMED = "assumed in a replay"


class Walk:
    """A job's way through a procedure.

    `begin` is the step to start with, `gives` as in `Watch`. `conclude` answers the outcome of a step
    that was just captured or is to be computed: it is known before the next step's gate is looked at.
    """

    def __init__(
        self,
        procedure: Procedure,
        *,
        at: float = 0.0,
        begin: str = "",
        assume: Assume = NOTHING,
        gives: Mapping[str, frozenset[str]] | None = None,
        conclude: Callable[[Step], str] | None = None,
    ) -> None:
        self._conclude = conclude
        self.procedure, self.ledger = procedure, Ledger(procedure)
        self._assume = assume
        self._watch = Watch(at, gives or {})
        self._steps = procedure.steps
        self._next_step: Step | None = procedure.step(begin) if begin else procedure.steps[0]
        self._step: Step | None = None
        self._phase = Phase.CAUTIONS
        self._started: Edge | None = None
        self._stage, self._again = "", False
        self._last_captured: Step | None = None

    @property
    def step(self) -> Step | None:
        """The step at hand; None before the procedure's cautions are acknowledged and when all is done."""
        return self._step

    @property
    def phase(self) -> Phase:
        return self._phase

    def start(self, at: float) -> list[Happening]:
        """Begin: the first step is at hand, once the procedure's cautions are acknowledged."""
        if not self.procedure.cautions:
            return self._advance(self._next_step, at)
        if self._assume.acknowledged and self._next_step is not None:
            self._aim(self._next_step)
        return []

    def judged(self, step: str, outcome: str) -> None:
        """Learn the verdict of a step's latest capture, or of a computed step: others may wait for it."""
        self.ledger.judge(step, outcome)

    # Readings ---------------------------------------------------------------------------------

    def reading(self, source: str, ordinal: int, reading: Reading, at: float) -> list[Happening]:
        """Take a link's next reading; `ordinal` numbers them from 0."""
        return self._hear_all(self._watch.hear(source, ordinal, reading, at), at)

    def nothing(self, source: str, at: float) -> list[Happening]:
        """A link's message held no reading."""
        return self._hear_all(self._watch.nothing(source, at), at)

    def tick(self, at: float) -> list[Happening]:
        """Time passed; `wake_at` says when that matters."""
        return self._hear_all(self._watch.tick(at), at)

    def end(self, at: float) -> list[Happening]:
        """A recording ends: a test or a heating run that could still go on is over."""
        return self._hear_all(self._watch.end(), at)

    @property
    def wake_at(self) -> float | None:
        """When `tick` must be called next, None when only readings and acts matter."""
        return self._watch.wake_at

    def _hear_all(self, heard: list[tuple[Key, Heard]], at: float) -> list[Happening]:
        return [happening for key, each in heard for happening in self._hear(key, each, at)]

    def gone(self, source: str) -> None:
        """A link was lost: no capture goes on across the gap."""
        self._watch.gone(source)

    def _hear(self, key: Key, heard: Heard, at: float) -> list[Happening]:
        """What a watcher's signal means for the walk."""
        source, target = key[0], self._watch.target
        if isinstance(heard, LeftPoints):
            assert self._step is not None
            lifted = told.Lifted(step=self._step.key, at=at, source=source)
            return [lifted, *self._advance(self._unanswered_after(self._step), at)]
        assert target is not None
        out: list[Happening] = []
        waits = self._step is not target or self._phase in (Phase.CAUTIONS, Phase.GATE)
        if waits and isinstance(heard, Touched | Settled | Stage | Runs):
            out = self._reach(target, at)
        match heard:
            case OtherFunction(shows):
                return [told.WrongFunction(step=target.key, at=at, source=source, shows=shows, wants=target.quantity)]
            case Lost(lasted_s, why):
                return [told.NotTaken(step=target.key, at=at, source=source, lasted_s=lasted_s, why=why)]
            case Froze():
                return [told.Frozen(step=target.key, at=at, source=source)]
            case Stage(wants):
                self._stage = wants
                return [*out, told.Proof(step=target.key, at=at, source=source, wants=wants)]
            case Runs(start):
                return out + self._run(target, start, at)
            case Ran(start, stop, capture):
                return [*out, _timed(target, start, stop, at), *self._captured(key, capture, at)]
            case Settled(capture):
                return out + self._captured(key, capture, at)
        return out

    def _run(self, step: Step, start: Edge, at: float) -> list[Happening]:
        self._started, self._phase = start, Phase.RUN
        return [told.Started(step=step.key, at=start.at, uncertainty_s=start.uncertainty_s)]

    def _captured(self, key: Key, capture: Capture, at: float) -> list[Happening]:
        step = self._step
        assert step is not None
        self.ledger.take(step, key[0], capture)
        if self._conclude:
            self.ledger.judge(step.key, self._conclude(step))
        self._watch.remember(key, capture)
        self._last_captured, self._started, self._stage = step, None, ""
        captured = told.Captured(step=step.key, at=at, source=key[0], capture=capture)
        following = self._unanswered_after(step)
        if following is not None and self._could_mistake(key, capture, following):
            self._watch.await_lift(key, capture, at)
            self._phase = Phase.LIFT
            return [captured]
        return [captured, *self._advance(following, at)]

    def _could_mistake(self, key: Key, capture: Capture, following: Step) -> bool:
        """Whether the leads, still on these points, would answer the next step too."""
        target = self._target_of(following)
        want = wanted_by(target) if target else None
        if target is None or want is None or not self._watch.has(key):
            return False
        return target.instrument in ("", key[0]) and want.matches(capture.form)

    # Steps ------------------------------------------------------------------------------------

    def _advance(self, step: Step | None, at: float) -> list[Happening]:
        if step is not None:
            return self._begin(step, at)
        self._step, self._phase = None, Phase.DONE
        self._watch.aim(None)
        return [told.JobDone(step="", at=at)]

    def _begin(self, step: Step, at: float, *, again: bool = False) -> list[Happening]:
        """Put a step at hand, and open it where nothing holds it back."""
        self._step, self._started, self._stage, self._again = step, None, "", again
        if again:
            self._watch.aim(None)
        out: list[Happening] = [told.StepBegan(step=step.key, at=at)]
        if step.energised:
            self.ledger.energise()
        if not step.cautions:
            return out + self._pass_gate(step, at)
        self._phase = Phase.CAUTIONS
        self._aim(step if self._assume.acknowledged else None)
        return out

    def _pass_gate(self, step: Step, at: float) -> list[Happening]:
        missing = self.ledger.missing(step)
        if not missing:
            return self._open(step, at)
        self._phase = Phase.GATE
        self._aim(step if self._assume.gates else None)
        return [] if self._assume.gates else [told.Waiting(step=step.key, at=at, needs=missing)]

    def _open(self, step: Step, at: float) -> list[Happening]:
        """Watch for the step's answer; a computed step answers itself."""
        if step.kind is StepKind.DERIVED:
            passed = told.Passed(step=step.key, at=at, how="computed")
            self.ledger.judge(step.key, self._conclude(step) if self._conclude else "not judged")
            return [passed, *self._advance(self._unanswered_after(step), at)]
        self._phase = Phase.LOOK if step.kind is StepKind.LOOK else Phase.WATCH
        self._aim(step)
        return []

    def _aim(self, step: Step | None) -> None:
        """Watch the links for what may answer while a step is at hand."""
        target = self._target_of(step) if step else None
        if target is None or target is not self._watch.target:
            self._watch.aim(target, again=self._again)

    def _leave(self, step: Step, how: str, at: float, reason: str = "", who: str = "") -> list[Happening]:
        """Pass a step without a capture, and go on."""
        self.ledger.leave(step, how)
        passed = told.Passed(step=step.key, at=at, how=how, reason=reason, who=who)
        return [passed, *self._advance(self._unanswered_after(step), at)]

    def _reach(self, target: Step, at: float) -> list[Happening]:
        """Points are touched: what nobody said is taken for granted, what stands between is left."""
        out: list[Happening] = []
        if self._step is None:
            assert self._next_step is not None
            out.append(told.Acknowledged(step="", at=at))
            self._step = self._next_step
            out.append(told.StepBegan(step=self._step.key, at=at))
        while self._step is not target:
            self.ledger.leave(self._step, "not judged")
            out.append(told.Passed(step=self._step.key, at=at, how="not judged", reason="nobody said"))
            following = self._unanswered_after(self._step)
            assert following is not None
            self._step, self._phase = following, Phase.CAUTIONS
            out.append(told.StepBegan(step=following.key, at=at))
            if following.energised:
                self.ledger.energise()
        return out + self._grant(target, at)

    def _grant(self, step: Step, at: float) -> list[Happening]:
        """Take a step's cautions for read and its gate for passed, as far as that is assumed."""
        out: list[Happening] = []
        if self._phase is Phase.CAUTIONS and step.cautions:
            out.append(told.Acknowledged(step=step.key, at=at))
        missing = self.ledger.missing(step)
        if missing and self._phase is not Phase.WATCH:
            out.append(_overrode(step, missing, at))
        return out + self._open(step, at)

    def _unanswered_after(self, step: Step) -> Step | None:
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
        return next((s for s in (step, *later) if self._watch.could_answer(s)), None)

    # Acts -------------------------------------------------------------------------------------

    def act(self, act: Act, at: float) -> list[Happening]:
        """Take what the person does; an act that does not fit is refused, with what would."""
        out: list[Happening] = []
        if act.word in ("confirm", "wanting", "start") and self._step is not None and self._is_granted():
            out = self._grant(self._step, at)
        return out + _ACTS[act.word](self, act, at)

    def _is_granted(self) -> bool:
        """Whether what the step at hand waits for is taken for granted."""
        cautions = self._phase is Phase.CAUTIONS and self._assume.acknowledged
        return cautions or (self._phase is Phase.GATE and self._assume.gates)

    def _refuse(self, act: Act, at: float, why: str) -> list[Happening]:
        return [told.Refused(step=self._step.key if self._step else "", at=at, word=act.word, why=why)]

    def _acknowledge(self, act: Act, at: float) -> list[Happening]:
        if self._phase is not Phase.CAUTIONS:
            return self._refuse(act, at, "No cautions wait to be acknowledged.")
        step = self._step
        done = told.Acknowledged(step=step.key if step else "", at=at, who=act.who)
        return [done, *(self._pass_gate(step, at) if step else self._advance(self._next_step, at))]

    def _next(self, act: Act, at: float) -> list[Happening]:
        step = self._step
        if step is None:
            return self._refuse(act, at, "No step is at hand: acknowledge the cautions, or go to a step.")
        if self.ledger.is_answered(step):
            index = self._steps.index(step) + 1
            following = self._steps[index] if index < len(self._steps) else self._unanswered_after(step)
            return self._advance(following, at)
        return self._leave(step, "passed over", at, who=act.who)

    def _back(self, act: Act, at: float) -> list[Happening]:
        index = self._steps.index(self._step) if self._step else len(self._steps)
        if index == 0 or self._not_yet():
            return self._refuse(act, at, "There is no step before this one.")
        return self._begin(self._steps[index - 1], at, again=True)

    def _measure_again(self, act: Act, at: float) -> list[Happening]:
        step = self._last_captured or self._step
        if step is None:
            return self._refuse(act, at, "Nothing was captured yet.")
        return self._begin(step, at, again=True)

    def _go_to(self, act: Act, at: float) -> list[Happening]:
        if self._not_yet():
            return self._refuse(act, at, "Acknowledge the procedure's cautions first.")
        step = next((step for step in self._steps if step.key == act.step), None)
        if step is None:
            return self._refuse(act, at, f"This procedure has no step {act.step!r}.")
        return self._begin(step, at, again=True)

    def _not_yet(self) -> bool:
        return self._step is None and self._phase is Phase.CAUTIONS

    def _skip(self, act: Act, at: float) -> list[Happening]:
        if self._step is None or not act.text:
            return self._refuse(
                act, at, "Write the reason for skipping a step." if self._step else "No step is at hand."
            )
        return self._leave(self._step, "skipped", at, act.text, act.who)

    def _note(self, act: Act, at: float) -> list[Happening]:
        return [told.Noted(step=self._step.key if self._step else "", at=at, text=act.text, who=act.who)]

    def _override(self, act: Act, at: float) -> list[Happening]:
        step = self._step
        if step is None or self._phase is not Phase.GATE or (act.step and act.step != step.key):
            return self._refuse(act, at, "No step waits for others.")
        if not act.text:
            return self._refuse(act, at, "Write the reason for going on without what this step waits for.")
        return [_overrode(step, self.ledger.missing(step), at, act.text, act.who), *self._open(step, at)]

    def _confirm(self, act: Act, at: float) -> list[Happening]:
        step = self._step
        if step is not None and self._phase is Phase.LOOK:
            return self._leave(step, "looked", at, act.text, act.who)
        if step is None or self._phase not in (Phase.WATCH, Phase.AFTER):
            return self._refuse(act, at, "Nothing waits to be confirmed.")
        found = self._watch.confirm() if self._watch.target is step else None
        if found is None:
            return self._refuse(act, at, "Nothing steady shows at the points at this moment.")
        return self._captured(*found, at)

    def _wanting(self, act: Act, at: float) -> list[Happening]:
        if self._step is None or self._phase is not Phase.LOOK:
            return self._refuse(act, at, "Only a step that is looked at can be found wanting.")
        return self._leave(self._step, "found wanting", at, act.text, act.who)

    def _start(self, act: Act, at: float) -> list[Happening]:
        step = self._step
        if step is None or self._phase is not Phase.WATCH or step.kind not in (StepKind.TIMED, StepKind.HEATING):
            return self._refuse(act, at, "No timed step waits to be started.")
        return self._run(step, Edge(at, act.uncertainty_s), at)

    def _stop(self, act: Act, at: float) -> list[Happening]:
        step, start = self._step, self._started
        if step is None or self._phase is not Phase.RUN or start is None:
            return self._refuse(act, at, "No timed step runs.")
        timed = _timed(step, start, Edge(at, act.uncertainty_s), at)
        if step.kind is StepKind.HEATING:
            self._phase = Phase.AFTER
            self._watch.heated(Timing(start.at, at, start.uncertainty_s, act.uncertainty_s))
            return [timed]
        return [timed, *self._captured(("", ""), timed_capture(start.at, at), at)]

    def _press(self, act: Act, at: float) -> list[Happening]:
        """A pedal: whichever act fits now."""
        if self._phase is Phase.CAUTIONS:
            return self._acknowledge(act, at)
        if self._phase is Phase.RUN:
            return self._stop(act, at)
        if self._phase is Phase.WATCH and self._step and self._step.kind in (StepKind.TIMED, StepKind.HEATING):
            return self._start(act, at)
        if self._phase is Phase.LIFT:
            return self._next(act, at)
        granted = self._grant(self._step, at) if self._step and self._is_granted() else []
        return granted + self._confirm(act, at)

    # Pages ------------------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """The walk as plain values: the step at hand, what it waits for, how every step stands."""
        step = self._step
        return {
            "procedure": self.procedure.key,
            "title": self.procedure.title,
            "phase": self._phase.value,
            "step": step.key if step else None,
            "cautions": list(step.cautions if step else self.procedure.cautions),
            "stage": self._stage,
            "needs": list(self.ledger.missing(step)) if step and self._phase is Phase.GATE else [],
            "started": self._started.at if self._started else None,
            "displays": [
                {"source": key[0], "channel": key[1], "state": state.value}
                for key, state in self._watch.states().items()
            ],
            "steps": [self._snapshot_of(each) for each in self._steps],
        }

    def _snapshot_of(self, step: Step) -> dict[str, Any]:
        counting = self.ledger.counting(step)
        return {
            "key": step.key,
            "title": step.title,
            "kind": step.kind.value,
            "state": self.ledger.state(step),
            "captures": len(self.ledger.captures(step.key)),
            "shown": counting.capture.reading.digits if counting else None,
            "unit": counting.capture.form.unit if counting else None,
            "bound": counting.capture.form.bound.value if counting and counting.capture.form.bound else None,
        }


def _timed(step: Step, start: Edge, stop: Edge, at: float) -> told.Timed:
    return told.Timed(
        step=step.key,
        at=at,
        started=start.at,
        stopped=stop.at,
        start_uncertainty_s=start.uncertainty_s,
        stop_uncertainty_s=stop.uncertainty_s,
    )


def _overrode(step: Step, needs: tuple[str, ...], at: float, reason: str = ASSUMED, who: str = "") -> told.Overrode:
    return told.Overrode(step=step.key, at=at, needs=needs, reason=reason, who=who)


_ACTS: dict[str, Callable[[Walk, Act, float], list[Happening]]] = {
    "acknowledge": Walk._acknowledge,
    "next": Walk._next,
    "back": Walk._back,
    "again": Walk._measure_again,
    "go to": Walk._go_to,
    "skip": Walk._skip,
    "note": Walk._note,
    "override": Walk._override,
    "confirm": Walk._confirm,
    "wanting": Walk._wanting,
    "start": Walk._start,
    "stop": Walk._stop,
    "press": Walk._press,
}
