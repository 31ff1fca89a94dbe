"""One check of one type of appliance across jobs: what each measured, and what healthy ones of a model read.

Healthy: the verdict that counts passed, the job was closed, and the part was not renewed in it. What is unlike them is
a remark beside a verdict; it enters none.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.units import QUANTITIES
from meterlog.diagnosis.healthy import EarlierReading, expected
from meterlog.procedure.kinds import KINDS, Opens
from meterlog.record.acts import ActKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meterlog.diagnosis.healthy import ExpectedInterval
    from meterlog.procedure.kinds import Kind
    from meterlog.record.kept import ActRecord, CaptureRecord, JobRecord, StepRecord, VerdictRecord

ACTS = (ActKind.ENTRIES, ActKind.PART_FITTED, ActKind.JOB_CLOSED, ActKind.JOB_TAKEN_UP)
"""The acts of a job that tell which model it was, and whether what passed in it was a healthy one's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepMeasurement:
    """One capture of a check in its job, with the last verdict reached from it.

    Attributes:
        value: what was found, SI, in `unit`; None of a bound, and where nothing was.
        stands: whether that verdict is the one that counts for the check.
        acts: those of the job that are `ACTS`, oldest first.
        bench: whose it is, where several benches are read as one; "" on a bench's own record.
    """

    job: JobRecord
    step: StepRecord
    capture: CaptureRecord
    verdict: VerdictRecord | None
    value: float | None
    unit: str
    stands: bool
    acts: tuple[ActRecord, ...]
    bench: str = ""

    @property
    def is_compared(self) -> bool:
        """Whether its values tell one appliance from another: no proof's, and not the leads' own."""
        return is_compared(KINDS[self.step.kind])

    @property
    def model(self) -> tuple[str, str]:
        """Make and model as last entered for the job, "" where they were not."""
        return model_of(self.job.plate, *(act.facts["entries"] for act in self.acts if act.kind == ActKind.ENTRIES))

    @property
    def is_healthy(self) -> bool:
        """Whether it passed in a closed job with its own part: a fitted part that names no check may be any part."""
        closed = [act.kind for act in self.acts if act.kind in (ActKind.JOB_CLOSED, ActKind.JOB_TAKEN_UP)]
        renewed = [act.facts.get("check") or self.step.key for act in self.acts if act.kind == ActKind.PART_FITTED]
        passed = self.stands and self.verdict is not None and self.verdict.outcome == "pass"
        return passed and closed[-1:] == [ActKind.JOB_CLOSED] and self.step.key not in renewed


def what_was_found(capture: CaptureRecord, verdict: VerdictRecord | None) -> tuple[float | None, str]:
    """The verdict's result and its SI unit, or what was shown where none was reached.

    The value is None of a bound, and where nothing was found.
    """
    result = verdict.verdict if verdict else None
    if result and result.unit:
        return result.value, result.unit
    return capture.reading.value, QUANTITIES[capture.capture.form.quantity].si


def is_compared(kind: Kind) -> bool:
    """Whether what a kind of step finds belongs to the appliance: a proof's and the leads' own do not."""
    return not (kind.proves_dead or kind.is_null or kind.opens is Opens.LOOK)


def model_of(*entries: Mapping[str, str]) -> tuple[str, str]:
    """Make and model of a job's entries, the later ones counting."""
    known = {name: text for each in entries for name, text in each.items()}
    return known.get("make", ""), known.get("model", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthyReadings:
    """What healthy ones of one make and model read at a check, oldest first; `interval` where the next is expected."""

    make: str
    model: str
    unit: str
    measured: tuple[StepMeasurement, ...]
    interval: ExpectedInterval

    @property
    def benches(self) -> Mapping[str, int]:
        """How many each bench read, by its name."""
        return Counter(each.bench for each in self.measured)


def healthy_of_each_model(measured: Iterable[StepMeasurement], unit: str) -> list[HealthyReadings]:
    """The healthy ones among these, by make and model, where a model was entered; values of `unit`, SI."""
    by_model: dict[tuple[str, str], list[StepMeasurement]] = defaultdict(list)
    for each in measured:
        if each.is_healthy and each.model[1] and each.unit == unit:
            by_model[_spelt(each.model)].append(each)
    return [_healthy(each[-1].model, unit, each) for each in by_model.values()]


def healthy_like(
    measured: Iterable[StepMeasurement], model: tuple[str, str], unit: str, *, job: str, before_ms: int
) -> HealthyReadings:
    """The healthy ones of a make and model, without those of the job `job` and what came after `before_ms`, UTC."""
    others = [each for each in measured if each.job.ref != job and each.verdict and each.verdict.at_utc_ms < before_ms]
    alike = [each for each in healthy_of_each_model(others, unit) if _spelt((each.make, each.model)) == _spelt(model)]
    return alike[0] if alike else _healthy(model, unit, ())


def _healthy(model: tuple[str, str], unit: str, measured: Sequence[StepMeasurement]) -> HealthyReadings:
    readings = [EarlierReading(value=each.value, step=_step(each, unit)) for each in measured]
    return HealthyReadings(
        make=model[0], model=model[1], unit=unit, measured=tuple(measured), interval=expected(readings)
    )


def _step(measured: StepMeasurement, unit: str) -> float:
    """One step of the display, SI; 0 where the value was worked out from something else."""
    form = measured.capture.capture.form
    return form.resolution if QUANTITIES[form.quantity].si == unit else 0.0


def _spelt(model: tuple[str, str]) -> tuple[str, str]:
    """Make and model so that case and blanks make no difference."""
    return " ".join(model[0].casefold().split()), " ".join(model[1].casefold().split())
