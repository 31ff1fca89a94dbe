"""The job at the desk: opened, walked, closed; what its walk tells becomes record and announcement."""

from __future__ import annotations

import logging
from dataclasses import asdict, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.errors import CannotDo
from meterlog.conversation.instruments import Instruments
from meterlog.daemon.events import CaptureEvent, HappeningEvent, JobEvent, VerdictEvent, WalkEvent
from meterlog.daemon.openjob import OpenJob
from meterlog.procedure.case import StepAnswer
from meterlog.procedure.entries import read_entries
from meterlog.record.acts import HAPPENINGS, PERSON, ActKind
from meterlog.record.kept import VerdictBasis
from meterlog.record.revisit import facts_of
from meterlog.walk.happenings import Acted, Captured, Happening, LivePoint, Noted, Passed, Refused
from meterlog.walk.ledger import StepCapture
from meterlog.walk.phases import awaited_in
from meterlog.walk.session import ByCase, Judged, LinkOutcome, Send, Session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from meterlog.base.readings import Capture, StreamOutcome
    from meterlog.daemon.announce import Announcer
    from meterlog.daemon.clock import Clock
    from meterlog.daemon.events import Announcement
    from meterlog.daemon.station import Station
    from meterlog.links.benchfile import BenchFile
    from meterlog.procedure.case import Log
    from meterlog.procedure.steps import Procedure
    from meterlog.record.keptjob import KeptJob
    from meterlog.record.rejudge import Again
    from meterlog.sounds import Sounds
    from meterlog.store.writer import Writer
    from meterlog.walk import Act, Snapshot
    from meterlog.walk.session import SessionEvent

log = logging.getLogger("meterlog")

URGENT = (LivePoint,)
"""Told at once, before anything is kept: someone's hands are there."""
RESTS_ON_DISK = (Captured, Judged, Passed)
"""Told once it is kept: it says that something is taken."""


class JobDesk:
    """At most one job is at hand; without one, readings are kept and belong to none."""

    def __init__(
        self, stations: Mapping[str, Station], writer: Writer, announcer: Announcer, clock: Clock, bench: BenchFile,
        sounds: Sounds | None = None,
    ) -> None:  # fmt: skip
        self._stations = stations
        self._writer = writer
        self._announcer = announcer
        self._clock = clock
        self._pedals = {f"{switch.on} {switch.line}": switch.means for switch in bench.switches}
        self._pedals |= {f"{name} key": pedal.means for name, pedal in bench.pedals.items()}
        self._sounds = sounds
        self._shown: Snapshot | None = None
        self._to_tell: list[tuple[bool, Callable[[], None]]] = []
        self.job: OpenJob | None = None
        self.instruments = Instruments()
        """The conversations of the bench: a job's session takes part in them, and they go on without one."""

    @property
    def job_id(self) -> int | None:
        return self.job.number if self.job else None

    @property
    def step_id(self) -> int | None:
        """The store's id of the step at hand."""
        return self.job.step_id if self.job else None

    # ---- opening and closing ----

    def open(
        self, procedure: Procedure, ref: str, *, where: str, entries: Mapping[str, str], personal: Mapping[str, str],
        who: str, whence: str,
    ) -> str:  # fmt: skip
        """Open a job and put its first step at hand. Answers its reference. Raises: CannotDo."""
        if self.job is not None:
            raise CannotDo(
                f"job {self.job.ref} is at hand", "lay it aside first with: meterlog job aside, or: meterlog job close"
            )
        now = self._clock.now()
        number, steps = self._writer.open_job(ref, procedure, entries, personal, now)
        facts = {"ref": ref, "procedure": procedure.key, "where": where}
        self._writer.event(ActKind.JOB_OPENED, now, facts, job=number, who=who, whence=whence)
        judge = ByCase(procedure, self._answer, where=where, entries=entries)
        session = self._session(procedure, judge)
        self.job = OpenJob(number, ref, procedure, steps, session, judge, where, dict(entries), self._stations)
        self._start()
        return ref

    def resume(self, kept: KeptJob) -> None:
        """Go on with a job that was at hand when the daemon ended."""
        self._go_on(kept, ActKind.JOB_RESUMED, {"ref": kept.ref}, "", "daemon")

    def take_up(self, kept: KeptJob, reason: str, who: str, whence: str, leave: Callable[[], None]) -> Snapshot:
        """Go on with a job that was laid aside or closed; answers how its walk stands.

        `leave` is called once it is no longer at hand. Raises: CannotDo when another job is at hand.
        """
        if self.job is not None:
            raise CannotDo(f"job {self.job.ref} is at hand", "lay it aside first with: meterlog job aside")
        self._go_on(kept, ActKind.JOB_TAKEN_UP, {"ref": kept.ref, "reason": reason}, who, whence)
        job = self.at_hand()
        job.leave = leave
        return job.snapshot()

    def _go_on(self, kept: KeptJob, how: ActKind, facts: Mapping[str, Any], who: str, whence: str) -> None:
        """Put a kept job at hand.

        What was captured stands; what was proved dead or looked at for a gate does not: nobody watched meanwhile.
        """
        procedure = kept.procedure
        number, steps = self._writer.resume_job(kept.ref)
        judge = ByCase(procedure, self._answer, where=kept.where, entries=kept.entries)
        session = self._session(procedure, judge, begin=kept.at_hand)
        self.job = OpenJob(
            number, kept.ref, procedure, steps, session, judge, kept.where, dict(kept.entries), self._stations
        )
        self.job.verdicts.update(kept.verdicts)
        for each in kept.captures:
            judge.know(each.answer.instrument, each.answer.capture, each.answer)
            self.job.captures.setdefault(each.step, []).append(each.number)
        taken = [(c.step, StepCapture(c.answer.instrument, c.answer.capture, c.outcome)) for c in kept.captures]
        session.walk.ledger.restore(taken, kept.passed, kept.void, kept.overridden)
        session.walk.remember_acts(kept.acts)
        session.walk.remember_live(kept.live)
        self._writer.event(how, self._clock.now(), facts, job=number, who=who, whence=whence)
        self._start()

    def _session(self, procedure: Procedure, judge: ByCase, begin: str = "") -> Session:
        profiles = {source: station.profile for source, station in self._stations.items()}
        return Session(
            procedure,
            profiles,
            at=self._clock.monotonic(),
            begin=begin,
            judge=judge,
            pedals=self._pedals,
            gives={source: profile.quantities for source, profile in profiles.items()},
            instruments=self.instruments,
            keep=self.keep,
            counts={source: station.count for source, station in self._stations.items()},
        )

    def _start(self) -> None:
        job = self.at_hand()
        self._tell_when_kept(JobEvent(job=job.ref))
        self._take(job.session.start(self._clock.monotonic()))

    def enter(self, entries: Mapping[str, str], who: str, whence: str) -> dict[str, str]:
        """Keep entries that were learned later; verdicts from now on rest on them. Answers them as they are kept."""
        job = self.at_hand()
        entries = read_entries(job.procedure, entries)
        job.entries.update(entries)
        job.judge.enter(entries)
        facts = {"entries": dict(entries)}
        self._writer.event(ActKind.ENTRIES, self._clock.now(), facts, job=job.number, who=who, whence=whence)
        return entries

    def judged_again(self, kept: KeptJob, found: Iterable[Again], numbers: Mapping[str, int]) -> None:
        """Learn what a job was concluded to under other entries or rules, where that job is at hand.

        By another procedure, jurisdiction or rule a gate is shut, and none is opened.
        """
        ref = kept.ref
        if self.job is None or self.job.ref != ref:
            return
        own = (self.job.procedure.sha256, self.job.where, None)
        is_own = (kept.procedure.sha256, kept.where, kept.rule) == own
        for again in (each for each in found if each.step in numbers):
            outcome = str(again.verdict.outcome)
            self.job.verdicts[again.step] = numbers[again.step]
            if is_own or outcome != "pass":
                self.job.session.walk.judged(again.step, outcome)
            number, why = numbers[again.step], again.verdict.why
            self._tell_when_kept(VerdictEvent(job=ref, step=again.step, verdict=number, outcome=outcome, why=why))
        self.look_again()

    def look_again(self) -> None:
        """Go on through the gate that the job at hand waits at, where what was learned opens it."""
        if self.job is not None:
            self._take(self.job.session.look_again(self._clock.monotonic()))

    def close(self, who: str, whence: str) -> None:
        """Close the job at hand. Raises: CannotDo when there is none."""
        job = self.at_hand()
        self._writer.close_job(job.number, self._clock.now(), {"ref": job.ref}, who, whence)
        self._put_away(job)

    def lay_aside(self, reason: str, who: str, whence: str) -> None:
        """Put the job at hand away, open as it is, for another one. Raises: CannotDo when there is none."""
        job = self.at_hand()
        facts = {"ref": job.ref, "reason": reason}
        self._writer.event(ActKind.JOB_LAID_ASIDE, self._clock.now(), facts, job=job.number, who=who, whence=whence)
        self._put_away(job)

    def _put_away(self, job: OpenJob) -> None:
        self.job, self._shown = None, None
        job.leave()
        self._tell_when_kept(JobEvent(job=None))

    def at_hand(self) -> OpenJob:
        """The job at hand. Raises: CannotDo when there is none."""
        if self.job is None:
            raise CannotDo("no job is at hand", "open one with: meterlog job open PROCEDURE")
        return self.job

    # ---- what comes in ----

    def received(self, source: str, data: bytes, at: float) -> Iterator[SessionEvent]:
        """Bytes came from an instrument; times are on the machine's monotonic clock. Each event is to be taken."""
        if self.job is not None:
            return self.job.session.received(source, data, at)
        return self._without_job(source, self.instruments.received(source, data, at))

    def sent(self, source: str, data: bytes, at: float) -> Iterator[SessionEvent]:
        """Bytes were written to an instrument."""
        if self.job is not None:
            return self.job.session.sent(source, data, at)
        return self._without_job(source, self.instruments.sent(source, data, at))

    def closed(self, source: str) -> Iterator[SessionEvent]:
        """An instrument's link is over: what was left of its bytes is told, and no capture goes on."""
        if self.job is not None:
            return self.job.session.closed(source)
        return self._without_job(source, self.instruments.closed(source))

    def tick(self, at: float) -> Iterator[SessionEvent]:
        """Time passed."""
        if self.job is not None:
            yield from self.job.session.tick(at)
            return
        for source, requests, outcomes in self.instruments.due(at):
            yield from self._without_job(source, outcomes)
            yield from (Send(source=source, data=request) for request in requests)

    def _without_job(self, source: str, outcomes: Sequence[StreamOutcome]) -> Iterator[SessionEvent]:
        self._record(source, outcomes)
        return iter(())

    def keep(self, heard: LinkOutcome) -> bool:
        """Record an outcome within the job and step at hand; whether the store took it."""
        return self._record(heard.source, (heard.outcome,))

    def _record(self, source: str, outcomes: Sequence[StreamOutcome]) -> bool:
        station = self._stations[source]
        if station.link_id is None or not outcomes:
            return False
        is_kept = self._writer.outcomes(station.link_id, outcomes, self.job_id, self.step_id)
        station.heard(outcomes, self._clock.monotonic(), self._clock.utc_ms(), is_kept=is_kept)
        return is_kept

    def lost(self, source: str) -> None:
        """Say that an instrument of the job at hand is lost."""
        if self._sounds and self.job is not None:
            self._sounds.lost(source)

    def line(self, source: str, word: str, at: float) -> Iterable[SessionEvent]:
        return self.job.session.line(source, word, at) if self.job is not None else ()

    @property
    def wake_at(self) -> float | None:
        """When `tick` must be called next, on the monotonic clock."""
        return self.job.session.wake_at if self.job else self.instruments.wake_at

    def act(self, act: Act, job: str, whence: str, suggested: Mapping[str, Any] | None = None) -> Snapshot:
        """What a person does to a job; answers how the walk stands then.

        `suggested`: what their page suggested meanwhile, kept where the act is done.

        Raises: CannotDo when it does not fit, or was meant for another job ("" is the one at hand).
        """
        at_hand = self.at_hand()
        if job not in ("", at_hand.ref):
            raise CannotDo(f"that was meant for job {job}; job {at_hand.ref} is at hand: nothing was done")
        events = at_hand.session.act(act, self._clock.monotonic())
        self._take(events, whence)
        if suggested is not None and any(isinstance(event, Acted) for event in events):
            step, now = at_hand.steps.get(act.step or ""), self._clock.now()
            self._writer.event(
                ActKind.SUGGESTED, now, suggested, job=at_hand.number, step=step, who=act.who, whence=whence
            )
        refused = [event.why for event in events if isinstance(event, Refused)]
        if refused:
            raise CannotDo(refused[0])
        return at_hand.snapshot()

    # ---- what comes of it ----

    def _take(self, events: Sequence[SessionEvent], whence: str = "pedal") -> None:
        """Keep and tell what happened; `whence` is where acts among it came from."""
        for event in events:
            self.take(event, whence)

    def take(self, event: SessionEvent, whence: str = "pedal") -> None:
        """Make record and announcement of what a session tells; `whence` is where an act came from."""
        if self._sounds and self.job is not None:
            say = partial(self._sounds.event, event, self.job.procedure)
            if isinstance(event, URGENT):
                say()
            else:
                self._to_tell.append((isinstance(event, RESTS_ON_DISK), say))
        if isinstance(event, Captured):
            self._captured(event)
        elif isinstance(event, Judged):
            self._judged(event)
        elif isinstance(event, Acted):
            self._acted(event, whence)
        elif isinstance(event, Happening):
            self._happened(event)

    def _tell_when_kept(self, announcement: Announcement) -> None:
        """What is told as taken, judged, opened or closed is on disk first."""
        self._to_tell.append((True, partial(self._announcer.tell, announcement)))

    def tell(self, *, is_kept: bool) -> None:
        """Announce in order what waited for the commit, and how the walk stands, when it stands differently.

        While the database refuses, only what claims to be kept waits on.
        """
        waited, self._to_tell = self._to_tell, []
        for rests_on_disk, tell in waited:
            if rests_on_disk and not is_kept:
                self._to_tell.append((True, tell))
            else:
                tell()
        shown = self.job.snapshot() if self.job else None
        if shown is not None and shown != self._shown:
            before, self._shown = self._shown, shown
            awaited = awaited_in(shown.phase, shown.stage)
            if self._sounds and (before is None or awaited_in(before.phase, before.stage) != awaited):
                self._sounds.asked(awaited)
            self._announcer.tell(WalkEvent(walk=shown))

    def _captured(self, event: Captured) -> None:
        job = self.at_hand()
        station = self._stations.get(event.source)
        link = station.last_link_id if station else None
        zero = station.opened_at if station else 0.0
        capture = as_kept(event.capture, zero)
        number = self._writer.capture(job.number, job.steps[event.step], link, capture)
        job.captures.setdefault(event.step, []).append(number)
        told = CaptureEvent(
            job=job.ref, step=event.step, capture=number, shown=capture.reading.digits, unit=capture.form.unit,
            bound=str(capture.form.bound or ""),
        )  # fmt: skip
        log.info("captured", extra={"facts": asdict(told)})
        self._tell_when_kept(told)

    def _judged(self, event: Judged) -> None:
        job = self.at_hand()
        counting = job.counting()
        row = {
            "outcome": str(event.verdict.outcome),
            "why": event.verdict.why,
            "result": event.verdict.to_json(),
            "context": VerdictBasis(captures=counting, entries=job.entries, where=job.where).to_json(),
            "procedure": job.procedure.sha256,
            "program": __version__,
            "supersedes": job.verdicts.get(event.step),
            "reason": "measured again" if event.step in job.verdicts else "",
            **self._rests_on(event.step),
        }
        capture = counting.get(event.step)
        number = self._writer.verdict(job.number, job.steps[event.step], capture, row, self._clock.now())
        job.verdicts[event.step] = number
        told = VerdictEvent(
            job=job.ref, step=event.step, verdict=number, outcome=str(event.verdict.outcome), why=event.verdict.why
        )
        log.info("judged", extra={"facts": asdict(told)})
        self._tell_when_kept(told)

    def _rests_on(self, step: str) -> dict[str, str | None]:
        """The hashes of the profile and facts of the instrument that a step's counting capture came from."""
        job = self.at_hand()
        taken = job.session.walk.ledger.counting(job.procedure.step(step))
        station = self._stations.get(taken.source) if taken else None
        if station is None:
            return {"profile": None, "facts": None}
        facts = self._writer.keep_text("instrument", station.source, station.facts)
        return {"profile": station.profile.sha256, "facts": facts}

    def _acted(self, event: Acted, whence: str) -> None:
        """An act, under the step that it was meant for; the words that it brought stand with what came of it."""
        job = self.at_hand()
        facts = {"word": event.word, "to": event.to, "act": event.act}
        self._writer.event(
            PERSON.format(word=event.word), self._clock.now(), facts, job=job.number, step=job.steps.get(event.step),
            who=event.who, whence=whence,
        )  # fmt: skip

    def _happened(self, event: Happening) -> None:
        """Everything else that a walk tells, as an event; a note's words are kept apart."""
        job = self.at_hand()
        facts = {name: value for name, value in asdict(event).items() if name not in ("step", "at")}
        if isinstance(event, Noted):
            facts = {"note": self._writer.disclose(job.number, "note", event.text)}
        words = str(HAPPENINGS[type(event)])
        step = job.steps.get(event.step)
        self._writer.event(words, self._clock.now(), facts, job=job.number, step=step, whence="walk")
        told = HappeningEvent(say=words, step=event.step, facts=facts)
        self._to_tell.append((False, partial(self._announcer.tell, told)))

    def _answer(self, source: str, capture: Capture, log: Log, beside: Log) -> StepAnswer:
        """A capture with what the bench knows of its instrument, in the numbers that are kept."""
        station = self._stations.get(source)
        if station is None:
            return StepAnswer(capture=capture, instrument=source)
        zero = station.opened_at
        kept = as_kept(capture, zero)
        return StepAnswer(
            capture=kept,
            instrument=source,
            accuracy=station.profile.accuracy(capture.form),
            facts=facts_of(station.facts, station.opened_utc_ms + round(kept.ended * 1000)),
            log=lambda: tuple((_ms(at - zero), reading) for at, reading in log()),
            beside=lambda: tuple((_ms(at - zero), reading) for at, reading in beside()),
        )


def as_kept(capture: Capture, zero: float) -> Capture:
    """A capture as the store keeps it: times since `zero`, s, to the millisecond."""
    timing = capture.timing
    if timing is not None:
        immersed = tuple((load, _ms(at - zero)) for load, at in timing.immersed)
        edges = {"started": _ms(timing.started - zero), "stopped": _ms(timing.stopped - zero)}
        timing = replace(timing, **edges, immersed=immersed)
    return replace(capture, started=_ms(capture.started - zero), ended=_ms(capture.ended - zero), timing=timing)


def _ms(seconds: float) -> float:
    return round(seconds * 1000) / 1000
