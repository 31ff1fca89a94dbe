"""A session: the links of a bench, a walk and its verdicts as one pure path, live or replayed.

    bytes ──Talk──▶ outcomes ──▶ Walk ──▶ happenings ──judge──▶ verdicts

Whoever holds the ports (or a recording) hands in bytes, line changes, acts and time, and keeps and
announces what comes back. A caller that runs the conversations itself hands in readings instead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

from meterlog.base.readings import Frame
from meterlog.base.runlog import RunLog
from meterlog.procedure.case import Answer, Case, conclude
from meterlog.procedure.heating_step import MAINS_SIDE
from meterlog.walk import NOTHING, Act, Happening, Walk
from meterlog.walk.happenings import Captured, Passed
from meterlog.walk.heated import HEATING_RUN
from meterlog.walk.pedals import PEDAL_UNCERTAINTY_S, PEDALS, Pedals

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from meterlog.base.readings import Capture, Form, Outcome, Reading
    from meterlog.conversation.talk import Talk
    from meterlog.judging import Accuracy, Verdict
    from meterlog.procedure.case import Log
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.walk import Assume, Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a link's bytes amount to; its readings are numbered from `first`."""

    source: str
    outcome: Outcome
    first: int


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


Event = Heard | Send | Judged | Happening


class Instrument(Protocol):
    """What a session needs of a profile."""

    def talk(self) -> Talk: ...
    def accuracy(self, form: Form) -> Accuracy | None: ...


class Judge(Protocol):
    """Concludes a step from what the walk has."""

    def __call__(self, step: Step, ledger: Ledger) -> Verdict: ...
    def remember(self, source: str, ordinal: int, reading: Reading, at: float) -> None:
        """Hear of a reading: some steps are concluded from a whole run."""


class Session:
    """Conversations, walk and verdicts of one job. Times are seconds on one clock, never going back."""

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
    ) -> None:
        self.walk = Walk(procedure, at=at, begin=begin, assume=assume, gives=gives, conclude=self._conclude)
        self._now = at
        self._concluded: list[Verdict] = []
        self._talks: dict[str, Talk] = {source: profile.talk() for source, profile in profiles.items()}
        self._counts = dict.fromkeys(profiles, 0)
        self._judge = judge or ByCase(procedure, answers_by(profiles))
        self._pedals = Pedals(pedals)

    def start(self, at: float) -> list[Event]:
        """Begin the walk."""
        return self._judged(self.walk.start(at))

    def received(self, source: str, data: bytes, at: float) -> list[Event]:
        """Bytes came from an instrument."""
        return self.tick(at) + self._outcomes(source, self._talks[source].feed(data, at))

    def reading(self, source: str, ordinal: int, reading: Reading, at: float) -> list[Event]:
        """A reading that the caller decoded itself; `ordinal` numbers each source's from 0."""
        self._judge.remember(source, ordinal, reading, at)
        return self._judged(self.walk.reading(source, ordinal, reading, at))

    def nothing(self, source: str, at: float) -> list[Event]:
        """A message without a reading, for a caller that decodes itself."""
        return self._judged(self.walk.nothing(source, at))

    def gone(self, source: str) -> None:
        """An instrument's link was lost: no capture goes on across the gap, however short."""
        self.walk.gone(source)

    def sent(self, source: str, data: bytes, at: float) -> None:
        """Bytes were written to an instrument."""
        self._talks[source].sent(data, at)

    def line(self, source: str, word: str, at: float) -> list[Event]:
        """A control line changed, such as "cts on"."""
        out = self.tick(at)
        name, _, state = word.partition(" ")
        self._pedals.edge(source, name, state == "on", at)
        return out

    def act(self, act: Act, at: float) -> list[Event]:
        """The person did something."""
        return self.tick(at) + self._judged(self.walk.act(act, at))

    def tick(self, at: float) -> list[Event]:
        """Time passed: pedals come to rest, instruments are asked, silences end messages."""
        out: list[Event] = []
        for word, pressed in self._pedals.pressed(at):
            act = Act(word=word, who="pedal", uncertainty_s=PEDAL_UNCERTAINTY_S)
            out += self._judged(self.walk.act(act, pressed))
        out += self._judged(self.walk.tick(at))
        for source, talk in self._talks.items():
            if talk.wake_at is None or talk.wake_at > at:
                continue
            requests, outcomes = talk.poll(at)
            out += [Send(source=source, data=request) for request in requests]
            out += self._outcomes(source, outcomes)
        return out

    @property
    def wake_at(self) -> float | None:
        """When `tick` must be called next; None: only what comes in matters."""
        times = [self._pedals.wake_at, self.walk.wake_at, *(talk.wake_at for talk in self._talks.values())]
        return min((at for at in times if at is not None), default=None)

    def end(self) -> list[Event]:
        """The links are closed: what was left of their bytes is told, what can be finished is."""
        out: list[Event] = []
        for source, talk in self._talks.items():
            out += self._outcomes(source, talk.end())
        return out + self._judged(self.walk.end(self._now))

    def _outcomes(self, source: str, outcomes: Iterable[Outcome]) -> list[Event]:
        out: list[Event] = []
        for outcome in outcomes:
            first = self._counts[source]
            out.append(Heard(source=source, outcome=outcome, first=first))
            if isinstance(outcome, Frame):
                self._now = max(self._now, outcome.at)  # a stream's end tells no time
                if not outcome.readings:
                    out += self.nothing(source, self._now)
                for ordinal, reading in enumerate(outcome.readings, start=first):
                    out += self.reading(source, ordinal, reading, self._now)
                self._counts[source] = first + len(outcome.readings)
        return out

    def _conclude(self, step: Step) -> str:
        """The walk asks what a step came to; the verdict follows the happening that brought it."""
        verdict = self._judge(step, self.walk.ledger)
        self._concluded.append(verdict)
        return verdict.outcome

    def _judged(self, happenings: list[Happening]) -> list[Event]:
        """The happenings, each followed by the verdict it brought."""
        out: list[Event] = []
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
        answer_of: Callable[[str, Capture, Log, Log], Answer],
        *,
        where: str = "",
        entries: Mapping[str, str] | None = None,
    ) -> None:
        self._case = Case(procedure=procedure, where=where, entries=entries or {})
        self._answer_of = answer_of
        self._logs: dict[str, RunLog] = {}
        self._answers: dict[tuple[str, Capture], Answer] = {}

    def enter(self, entries: Mapping[str, str]) -> None:
        """Take entries that were learned later, such as the water's mass."""
        self._case = replace(self._case, entries={**self._case.entries, **entries})

    def know(self, source: str, capture: Capture, answer: Answer) -> None:
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

    def _answer(self, source: str, capture: Capture) -> Answer:
        """A capture's answer, made once: what is known of its instrument is what was known then."""
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
        if capture.how != HEATING_RUN:
            return ()
        found = [
            (at, reading)
            for other, log in self._logs.items()
            if other != source
            for at, reading in log.during(capture.started, capture.ended)
            if reading.form.quantity in MAINS_SIDE
        ]
        return tuple(sorted(found, key=lambda entry: entry[0]))


def answers_by(profiles: Mapping[str, Instrument]) -> Callable[[str, Capture, Log, Log], Answer]:
    """Answers that know the accuracy that each source's profile states, and nothing else."""

    def answer_of(source: str, capture: Capture, log: Log, beside: Log) -> Answer:
        profile = profiles.get(source)
        accuracy = profile.accuracy(capture.form) if profile else None
        return Answer(capture=capture, instrument=source, accuracy=accuracy, log=log, beside=beside)

    return answer_of
