"""What verdicts would come to if the readings under them were those of another profile. Nothing kept is touched."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from meterlog.judging import Outcome, Verdict
from meterlog.procedure.case import conclude
from meterlog.record.revisit import Revisit
from meterlog.record.standing import standing
from meterlog.walk.answers import wanted_by
from meterlog.walk.settle import Held, Sample, capture_of
from meterlog.walk.settle.window import same_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.base.readings import Capture, Reading
    from meterlog.procedure.case import StepAnswer
    from meterlog.profile import Profile
    from meterlog.record.kept import VerdictRecord
    from meterlog.record.reader import RecordReader
    from meterlog.record.redecode import ConversationAgain
    from meterlog.walk.settle import Want

NO_CAPTURE = "its capture would not stand: its run is no longer readings of one range of what the step wants"


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A verdict that rests on readings that differ: as it was concluded, and what it would come to."""

    number: int
    job: str
    step: str
    before: Verdict
    now: Verdict

    def as_dict(self) -> dict[str, Any]:
        return {
            "verdict": self.number,
            "job": self.job,
            "step": self.step,
            "before": _came_to(self.before),
            "now": _came_to(self.now),
            "why": self.now.why,
        }


def _came_to(verdict: Verdict) -> dict[str, Any]:
    value, bound = (verdict.edge, verdict.bound) if verdict.bound else (verdict.value, "")
    return {"outcome": str(verdict.outcome), "bound": bound, "value": value, "unit": verdict.unit}


@dataclass(slots=True)
class _Run:
    """The readings now of one capture's run, times in s on its link's clock."""

    first: int
    last: int
    opened_ms: int
    differs: bool = False
    now: list[tuple[float, Reading]] = field(default_factory=list)


class Rest:
    """The captures of an instrument, filled conversation by conversation; then the verdicts that differ."""

    def __init__(self, reader: RecordReader, instrument: str, profile: Profile) -> None:
        self._reader, self._profile = reader, profile
        self._revisit = Revisit(self._reader)
        opened = reader.links_opened()
        self._runs = {
            kept.id: _Run(kept.capture.first, kept.capture.last, opened[kept.link])
            for kept in self._reader.captures()
            if kept.link is not None and kept.instrument is not None and kept.instrument.name == instrument
        }

    def take(self, again: ConversationAgain) -> None:
        """Add a conversation's readings to the runs that they belong to."""
        for run in self._runs.values():
            now, differs = again.run(run.first, run.last)
            run.now += [((at - run.opened_ms) / 1000.0, reading) for at, reading in now]
            run.differs |= differs

    def changed(self) -> Iterator[Changed]:
        """Every verdict that counts and whose capture differs, or that another capture's difference changes."""
        for job in reversed(self._reader.jobs()):
            keys = {step.id: step.key for step in self._reader.steps(job.id)}
            for kept in sorted(standing(self._reader.verdicts(job.id)).values(), key=lambda each: each.id):
                yield from self._changed(kept, job.ref, keys[kept.step])

    def _changed(self, kept: VerdictRecord, job: str, key: str) -> Iterator[Changed]:
        captures = kept.basis.captures
        differing = {step: n for step, n in captures.items() if n in self._runs and self._runs[n].differs}
        if differing:
            before, now = kept.verdict, self._conclude(kept, key, differing)
            if kept.capture in differing.values() or now.to_json() != before.to_json():
                yield Changed(number=kept.id, job=job, step=key, before=before, now=now)

    def _conclude(self, kept: VerdictRecord, step: str, differing: dict[str, int]) -> Verdict:
        """What a verdict comes to when its case's differing captures are those of the new readings."""
        case = self._revisit.case(kept)
        answers = dict(case.answers)
        for key, number in differing.items():
            answer = self._answer(answers[key], self._runs[number], wanted_by(case.procedure.step(key)))
            if answer is not None:
                answers[key] = answer
            elif key == step:
                return Verdict(outcome=Outcome.NOT_JUDGED, why=NO_CAPTURE)
            else:
                del answers[key]
        return conclude(replace(case, answers=answers), case.procedure.step(step))

    def _answer(self, kept: StepAnswer, run: _Run, want: Want | None) -> StepAnswer | None:
        """An answer with the capture of the new readings; None when they make no capture of what was measured."""
        capture = _capture(kept.capture, run.now)
        if capture is None or (want is not None and not want.matches(capture.form)):
            return None
        return replace(kept, capture=capture, accuracy=self._profile.accuracy(capture.form), log=lambda: tuple(run.now))


def _capture(kept: Capture, run: list[tuple[float, Reading]]) -> Capture | None:
    """The capture of a run in a kept one's place: of numbers of one range, or of one bound; else None."""
    same = [(at, reading) for at, reading in run if reading.form.channel == kept.form.channel]
    forms = {reading.form for _, reading in same}
    if len({(form.bound, form.quantity) for form in forms}) != 1:
        return None
    samples = [Sample(place, at, reading) for place, (at, reading) in enumerate(same)]
    if samples[0].reading.form.bound is not None:
        held = Held(any_range=True)
        for sample in samples:
            held.add(sample)
        made = held.capture(kept.how, kept.proof)
    elif len({same_range(form) for form in forms}) == 1 and all(reading.counts is not None for _, reading in same):
        made = capture_of(samples, kept.how, kept.proof)
    else:
        return None
    return replace(made, first=kept.first, last=kept.last, timing=kept.timing)
