"""A session: the links of a bench, a walk and its verdicts as one pure path, live or replayed.

    bytes ──Conversation──▶ outcomes ──▶ Walk ──▶ happenings ──judge──▶ verdicts

Whoever holds the ports (or a recording) hands in bytes, line changes, acts and time, and keeps and
announces what comes back: the daemon and a replay alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

from meterlog.base.readings import Frame
from meterlog.base.runlog import RunLog
from meterlog.conversation.instruments import Instruments
from meterlog.procedure.case import Case, StepAnswer, conclude
from meterlog.procedure.heating_step import MAINS_SIDE
from meterlog.procedure.typed import typed_answer
from meterlog.walk import NOTHING, Act, Happening, Walk
from meterlog.walk.acts import PEDAL
from meterlog.walk.happenings import Captured, Passed
from meterlog.walk.pedals import PEDAL_UNCERTAINTY_S, PEDALS, Pedals

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from meterlog.base.readings import Capture, Form, Reading, StreamOutcome
    from meterlog.conversation.conversation import Conversation
    from meterlog.judging import Accuracy, Verdict
    from meterlog.procedure.case import Log
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.walk import Assume, Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkOutcome:
    """What a link's bytes amount to; `outcome.at` is s since the link was opened."""

    source: str
    outcome: StreamOutcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Send:
    """Bytes to write to a link now."""

    source: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The verdict on a step, from the capture that counts."""

    step: str
    at: float
    verdict: Verdict


SessionEvent = LinkOutcome | Send | Judged | Happening


class Instrument(Protocol):
    """What a session needs of a profile."""

    def conversation(self) -> Conversation: ...
    def accuracy(self, form: Form) -> Accuracy | None: ...


def is_kept(_: LinkOutcome) -> bool:
    """What a session's `keep` answers where nothing is ever refused."""
    return True


class Judge(Protocol):
    """Concludes a step from what the walk has."""

    def __call__(self, step: Step, ledger: Ledger) -> Verdict: ...
    @property
    def entries(self) -> Mapping[str, str]:
        """What was entered for the job until now."""

    def remember(self, source: str, ordinal: int, reading: Reading, at: float) -> None:
        """Hear of a reading: some steps are concluded from a whole run."""


class Session:
    """Conversations, walk and verdicts of one job. Times are seconds on one clock, never going back.

    Args:
        profiles: of the instruments, by name.
        instruments: their conversations, where they began before the job and go on behind it; None: they begin here.
        keep: told of each outcome before the walk is; where it answers False the walk is not, for nothing may rest
            on what is not kept.
    """

    def __init__(
        self,
        procedure: Procedure,
        profiles: Mapping[str, Instrument],
        *,
        at: float = 0.0,
        begin: str = "",
        assume: Assume = NOTHING,
        judge: Judge | None = None,
        pedals: Mapping[str, str] = PEDALS,
        gives: Mapping[str, frozenset[str]] | None = None,
        instruments: Instruments | None = None,
        keep: Callable[[LinkOutcome], bool] = is_kept,
        counts: Mapping[str, int] | None = None,
    ) -> None:
        self.walk = Walk(
            procedure, at=at, begin=begin, assume=assume, gives=gives, conclude=self._conclude, entries=self._entries
        )
        self._now = at
        self._concluded: list[Verdict] = []
        self._instruments = instruments or Instruments()
        if instruments is None:
            for source, profile in profiles.items():
                self._instruments.opened(source, profile.conversation())
        self._keep = keep
        self._counts = dict(counts or {})  # readings of each source so far: what numbers the next
        self._judge = judge or ByCase(procedure, answers_by(profiles))
        self._pedals = Pedals(pedals)

    def start(self, at: float) -> list[SessionEvent]:
        """Begin the walk."""
        return self._judged(self.walk.start(at))

    def received(self, source: str, data: bytes, at: float) -> Iterator[SessionEvent]:
        """Bytes came from an instrument. Each event is to be dealt with before the next is asked for."""
        yield from self.tick(at)
        yield from self._outcomes(source, self._instruments.received(source, data, at))

    def reading(self, source: str, ordinal: int, reading: Reading, at: float) -> list[SessionEvent]:
        """A reading came; `ordinal` numbers each source's from 0."""
        self._judge.remember(source, ordinal, reading, at)
        return self._judged(self.walk.reading(source, ordinal, reading, at))

    def gone(self, source: str) -> None:
        """An instrument's link was lost: no capture goes on across the gap, however short."""
        self.walk.gone(source)

    def closed(self, source: str) -> Iterator[SessionEvent]:
        """An instrument's link is over: what was left of its bytes is told, and no capture goes on."""
        yield from self._outcomes(source, self._instruments.closed(source))
        self.gone(source)

    def sent(self, source: str, data: bytes, at: float) -> Iterator[SessionEvent]:
        """Bytes were written to an instrument."""
        yield from self._outcomes(source, self._instruments.sent(source, data, at))

    def line(self, source: str, word: str, at: float) -> list[SessionEvent]:
        """A control line changed, such as "cts on"."""
        out = list(self.tick(at))
        name, _, state = word.partition(" ")
        self._pedals.edge(source, name, state == "on", at)
        return out

    def act(self, act: Act, at: float) -> list[SessionEvent]:
        """The person did something."""
        return [*self.tick(at), *self._judged(self.walk.act(act, at))]

    def tick(self, at: float) -> Iterator[SessionEvent]:
        """Time passed: pedals come to rest, instruments are asked, silences end messages."""
        for word, pressed in self._pedals.pressed(at):
            act = Act(word=word, who=PEDAL, uncertainty_s=PEDAL_UNCERTAINTY_S)
            yield from self._judged(self.walk.act(act, pressed))
        for source, requests, outcomes in self._instruments.due(at):
            yield from self._outcomes(source, outcomes)
            yield from (Send(source=source, data=request) for request in requests)
        yield from self._judged(self.walk.tick(at))

    @property
    def wake_at(self) -> float | None:
        """When `tick` must be called next; None: only what comes in matters."""
        times = [self._pedals.wake_at, self.walk.wake_at, self._instruments.wake_at]
        return min((at for at in times if at is not None), default=None)

    def end(self) -> Iterator[SessionEvent]:
        """The links are closed: what was left of their bytes is told, what can be finished is."""
        for source in self._instruments.sources:
            yield from self._outcomes(source, self._instruments.closed(source))
        yield from self._judged(self.walk.end(self._now))

    def _outcomes(self, source: str, outcomes: Iterable[StreamOutcome]) -> Iterator[SessionEvent]:
        zero = self._instruments.zero(source)
        for outcome in outcomes:
            heard = LinkOutcome(source=source, outcome=outcome)
            if not self._keep(heard):
                self.gone(source)
                continue
            yield heard
            if isinstance(outcome, Frame):
                self._now = max(self._now, zero + outcome.at)  # a stream's end tells no time
                first = self._counts.get(source, 0)
                self._counts[source] = first + len(outcome.readings)
                if not outcome.readings:
                    yield from self._judged(self.walk.nothing(source, self._now))
                for ordinal, reading in enumerate(outcome.readings, start=first):
                    yield from self.reading(source, ordinal, reading, self._now)

    def look_again(self, at: float) -> list[SessionEvent]:
        """A verdict or an entry came that is no capture."""
        return self._judged(self.walk.look_again(at))

    def _entries(self) -> Mapping[str, str]:
        return self._judge.entries

    def _conclude(self, step: Step) -> str:
        """The walk asks what a step came to; the verdict follows the happening that brought it."""
        verdict = self._judge(step, self.walk.ledger)
        self._concluded.append(verdict)
        return verdict.outcome

    def _judged(self, happenings: list[Happening]) -> list[SessionEvent]:
        """The happenings, each followed by the verdict it brought."""
        out: list[SessionEvent] = []
        for happening in happenings:
            out.append(happening)
            if isinstance(happening, Captured) or (isinstance(happening, Passed) and happening.how == "computed"):
                verdict = self._concluded.pop(0)
                out.append(Judged(step=happening.step, at=happening.at, verdict=verdict))
        return out


class ByCase:
    """Concludes each step from the job's case: the captures that count, with what is known of their instruments."""

    def __init__(
        self,
        procedure: Procedure,
        answer_of: Callable[[str, Capture, Log, Log], StepAnswer],
        *,
        where: str = "",
        entries: Mapping[str, str] | None = None,
    ) -> None:
        self._case = Case(procedure=procedure, where=where, entries=entries or {})
        self._answer_of = answer_of
        self._logs: dict[str, RunLog] = {}
        self._answers: dict[tuple[str, Capture], StepAnswer] = {}

    @property
    def entries(self) -> Mapping[str, str]:
        return self._case.entries

    def enter(self, entries: Mapping[str, str]) -> None:
        """Take entries that were learned later, such as the water's mass."""
        self._case = replace(self._case, entries={**self._case.entries, **entries})

    def know(self, source: str, capture: Capture, answer: StepAnswer) -> None:
        """Take an answer as it was kept: its instrument may have been opened again, or be gone."""
        self._answers[source, capture] = answer

    def remember(self, source: str, ordinal: int, reading: Reading, at: float) -> None:
        self._logs.setdefault(source, RunLog()).add(ordinal, at, reading)

    def __call__(self, step: Step, ledger: Ledger) -> Verdict:
        return conclude(self.case(ledger), step)

    def case(self, ledger: Ledger) -> Case:
        """What is known now."""
        counting = {step.key: ledger.counting(step) for step in self._case.procedure.steps}
        answers = {key: self._answer(taken.source, taken.capture) for key, taken in counting.items() if taken}
        return replace(self._case, answers=answers)

    def _answer(self, source: str, capture: Capture) -> StepAnswer:
        """A capture's answer, made once: what is known of its instrument is what was known then."""
        if capture.typed is not None:
            return typed_answer(capture)
        if (source, capture) not in self._answers:
            log, first, last = self._logs.get(source, RunLog()), capture.first, capture.last
            self._answers[source, capture] = self._answer_of(
                source,
                capture,
                lambda: log.between(first, last),
                lambda: self._beside(source, capture),
            )
        return self._answers[source, capture]

    def _beside(self, source: str, capture: Capture) -> tuple[tuple[float, Reading], ...]:
        """What other instruments read of the mains side during a heating run, in order of time."""
        if not capture.is_run:
            return ()
        found = [
            (at, reading)
            for other, log in self._logs.items()
            if other != source
            for at, reading in log.during(capture.started, capture.ended)
            if reading.form.quantity in MAINS_SIDE
        ]
        return tuple(sorted(found, key=lambda entry: entry[0]))


def answers_by(profiles: Mapping[str, Instrument]) -> Callable[[str, Capture, Log, Log], StepAnswer]:
    """Answers that know the accuracy that each source's profile states, and nothing else."""

    def answer_of(source: str, capture: Capture, log: Log, beside: Log) -> StepAnswer:
        profile = profiles.get(source)
        accuracy = profile.accuracy(capture.form) if profile else None
        return StepAnswer(capture=capture, instrument=source, accuracy=accuracy, log=log, beside=beside)

    return answer_of
