"""The walk through a procedure, as whoever holds the links sees it: readings and acts in, happenings out.

Pure: takes readings of all links, acts and time; answers happenings. Live and replay drive the same
walk. Steps advance by themselves, after a capture and a lift of the leads; acts may take any order.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.walk import happenings as told
from meterlog.walk.answers import wanted_by
from meterlog.walk.course import NOTHING, Course
from meterlog.walk.doing import do
from meterlog.walk.hearing import hear
from meterlog.walk.phases import Phase, asked
from meterlog.walk.snapshot import Snapshot, StepSnapshot, WatchedDisplay

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from meterlog.base.readings import Reading
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.walk.acts import Act
    from meterlog.walk.course import Assume
    from meterlog.walk.happenings import Happening
    from meterlog.walk.ledger import Ledger
    from meterlog.walk.settle import Live
    from meterlog.walk.watch import DisplayKey, WatchSignal


REMEMBERED = 1000
"""Acts whose identities are remembered."""


class Walk:
    """A job's way through a procedure.

    `begin` is the step to start with, `gives` as in `Watch`. `conclude` answers the outcome of a step
    that was just captured or is to be computed: it is known before the next step's gate is looked at. `entries` gives
    what was entered for the job until now.
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
        entries: Callable[[], Mapping[str, str]] = dict,
    ) -> None:
        self.procedure = procedure
        first = procedure.step(begin) if begin else procedure.steps[0]
        self._course = Course(procedure, at, first, assume, gives or {}, conclude, entries)
        self._watch = self._course.watch
        self._answered: dict[str, tuple[Act | None, str]] = {}
        self._asks = (self._course.step, self._course.phase)

    @property
    def step(self) -> Step | None:
        """The step at hand; None before the procedure's cautions are acknowledged and when all is done."""
        return self._course.step

    @property
    def phase(self) -> Phase:
        return self._course.phase

    @property
    def ledger(self) -> Ledger:
        return self._course.ledger

    def start(self, at: float) -> list[Happening]:
        """Begin: the first step is at hand, once the procedure's cautions are acknowledged."""
        return self._turned(self._course.start(at), at)

    def act(self, act: Act, at: float) -> list[Happening]:
        """Take what the person does; an act that does not fit is refused, with what would.

        One that comes twice does nothing more: it is answered as it was the first time.
        """
        known = self._answered.get(act.id)
        if known is not None:
            first, refused = known
            same = first is None or replace(act, uncertainty_s=first.uncertainty_s) == first
            why = refused if same else "Another act had this identity: nothing was done."
            return [told.Refused(step=act.step or "", at=at, word=act.word, why=why)] if why else []
        out = self._turned(do(self._course, act, at), at)
        if act.id:
            self._answered[act.id] = act, next((each.why for each in out if isinstance(each, told.Refused)), "")
            while len(self._answered) > REMEMBERED:
                del self._answered[next(iter(self._answered))]
        return out

    def remember_acts(self, identities: Iterable[str]) -> None:
        """Take up the identities of acts that were done before a break: none is done twice."""
        self._answered.update((identity, (None, "")) for identity in identities)

    def remember_live(self, live: Live | None) -> None:
        """Take up a live point that nobody had seen before a break: it is shown first of all."""
        self._course.unseen = live

    def judged(self, step: str, outcome: str) -> None:
        """Learn the verdict of a step's latest capture, or of a computed step: others may wait for it."""
        self.ledger.judge(step, outcome)

    def look_again(self, at: float) -> list[Happening]:
        """A verdict or an entry came that is no capture: the gate that the step waits at may be open now."""
        course, step = self._course, self._course.step
        if step is None or course.phase is not Phase.GATE or self.ledger.missing(step):
            return []
        return self._turned(course.open(step, at), at)

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

    def gone(self, source: str) -> None:
        """A link was lost: no capture goes on across the gap."""
        self._watch.gone(source)

    @property
    def wake_at(self) -> float | None:
        """When `tick` must be called next, None when only readings and acts matter."""
        return self._watch.wake_at

    def _hear_all(self, heard: list[tuple[DisplayKey, WatchSignal]], at: float) -> list[Happening]:
        out = [happening for key, each in heard for happening in hear(self._course, key, each, at)]
        return self._turned(out, at) if out else out

    def _turned(self, happenings: list[Happening], at: float) -> list[Happening]:
        """Note when what is asked of the person last changed."""
        asks = (self._course.step, self._course.phase)
        if asks != self._asks:
            self._asks, self._course.turned_at = asks, at
        return happenings

    def _asked(self, step: Step | None) -> str:
        course = self._course
        want = wanted_by(step) if step and course.phase in (Phase.WATCH, Phase.START) else None
        if step is not None and want is not None and not self._watch.could_answer(step):
            shows = want.quantity.replace("_", " ")
            return f"No instrument here shows {shows}: type it, or skip it."
        kind, has_points = (step.kind, bool(step.points)) if step else (None, True)
        return asked(course.phase, kind, course.stage, course.advice, self._watch.in_the_way, has_points=has_points)

    def snapshot(self) -> Snapshot:
        """The walk as it stands."""
        course, step = self._course, self._course.step
        return Snapshot(
            procedure=self.procedure.key,
            title=self.procedure.title,
            phase=course.phase,
            step=step.key if step else "",
            words=self._asked(step),
            acts=tuple(course.offers()),
            more=tuple(course.more()),
            press=course.phase.press,
            cautions=tuple(step.cautions if step else self.procedure.cautions),
            unread=tuple(course.unread(step)) if course.phase is Phase.CAUTIONS else (),
            live=course.live.shown if course.live else "",
            stage=course.stage,
            needs=tuple(self.ledger.missing(step)) if step and course.phase is Phase.GATE else (),
            started=course.started.at if course.started else None,
            displays=tuple(
                WatchedDisplay(source=source, channel=channel, state=state.value)
                for (source, channel), state in self._watch.states().items()
            ),
            steps=tuple(self._step(each) for each in self.procedure.steps),
        )

    def _step(self, step: Step) -> StepSnapshot:
        counting = self.ledger.counting(step)
        capture = counting.capture if counting else None
        return StepSnapshot(
            key=step.key,
            title=step.title,
            kind=step.kind.name,
            state=self.ledger.state(step),
            lapsed=self.ledger.has_lapsed(step),
            safety=step.key in self._course.safety,
            captures=len(self.ledger.captures(step.key)),
            shown=capture.reading.digits if capture and not step.kind.is_run else None,
            unit=capture.form.unit if capture else None,
            bound=capture.form.bound.value if capture and capture.form.bound else None,
            typed=capture is not None and capture.typed is not None,
        )
