"""What one verdict was reached from: question, rule and source, capture, budget, bytes; for its page and the files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.base.errors import MeterlogError
from meterlog.profile import read_kept_profile
from meterlog.profile.tools.explain import Explainer
from meterlog.report import procedures
from meterlog.report.runs import capture_plot, drawn_run, readings_around

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.judging import Verdict
    from meterlog.procedure.steps import Step
    from meterlog.record.kept import CaptureRecord, JobRecord, ReadingRecord, StepRecord, TextRecord, VerdictRecord
    from meterlog.record.reader import RecordReader
    from meterlog.report.runs import DrawnRun


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """A verdict with everything that it was reached from.

    Attributes:
        result: what it holds; later: the verdict that supersedes it.
        written: the step as the procedure has it; None where its text can't be read.
        si: the SI unit of the capture, "" without one.
        readings: from 8 s before the capture to 8 s after it; frames: those in it, each with its bytes.
        explained: how the first of them was read, with the lines of the profile.
        texts: the kept texts by what they are: "procedure", "profile", "facts".
    """

    verdict: VerdictRecord
    result: Verdict
    job: JobRecord
    step: StepRecord
    written: Step | None
    later: VerdictRecord | None
    capture: CaptureRecord | None
    run: DrawnRun | None
    si: str
    readings: Sequence[ReadingRecord]
    frames: Sequence[ReadingRecord]
    explained: Sequence[str]
    texts: Mapping[str, TextRecord]

    @property
    def plot(self) -> str:
        """The readings around its capture; "" where the heating run shows them."""
        return capture_plot(self.capture, self.readings) if self.capture and self.readings and not self.run else ""


def reached_from(reader: RecordReader, number: int) -> Reached | None:
    """Everything a verdict was reached from; None when there is no such verdict."""
    verdict = reader.verdict(number)
    job = reader.job(verdict.job) if verdict else None
    if verdict is None or job is None:
        return None
    step = next(step for step in reader.steps(job.id) if step.id == verdict.step)
    capture = reader.capture(verdict.capture) if verdict.capture is not None else None
    readings = readings_around(reader, capture) if capture else []
    frames = [each for each in readings if capture and capture.capture.first <= each.id <= capture.capture.last]
    named = {"procedure": verdict.procedure, "profile": verdict.profile, "facts": verdict.facts}
    texts = {name: text for name, sha256 in named.items() if sha256 and (text := reader.text(sha256))}
    profile = texts.get("profile")
    return Reached(
        verdict=verdict,
        result=verdict.verdict,
        job=job,
        step=step,
        written=procedures.written_step(procedures.of(reader, verdict.procedure), step.key),
        later=next((each for each in reader.verdicts(job.id) if each.supersedes == number), None),
        capture=capture,
        run=drawn_run(reader, verdict, step),
        si=units.QUANTITIES[capture.capture.form.quantity].si if capture else "",
        readings=readings,
        frames=frames,
        explained=_explained(reader, profile.body, frames[0]) if profile and frames else (),
        texts=texts,
    )


def _explained(reader: RecordReader, profile: str, reading: ReadingRecord) -> Sequence[str]:
    """Which bytes of a reading's message became which field, by which line; empty when it can't be read any more."""
    try:
        return Explainer(read_kept_profile(profile, "profile")).stream(reading.frame, reader.sent_before(reading))
    except MeterlogError:
        return ()
