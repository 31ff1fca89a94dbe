"""What healthy ones of a model read, in sentences; and the remark on a reading that is unlike them, never a verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.diagnosis.healthy import FEWEST, ROBUST_FROM
from meterlog.record.history import healthy_like
from meterlog.report import wording

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.record.history import HealthyReadings, StepMeasurement
    from meterlog.record.reader import RecordReader

LATEST = 2**62
MOST_JOBS = 100
"""The newest jobs that are looked through for a check."""

NO_MODEL = "No make and model is entered for this job: nothing says which earlier ones were like it."
NO_VERDICT = "That is no verdict: the limit judges."


@dataclass(frozen=True, slots=True, kw_only=True)
class LikeIt:
    """What healthy ones of a model read: a sentence, where the next is expected, and the remark on one, "" for none."""

    says: str
    low: float | None = None
    high: float | None = None
    remark: str = ""


def measurements(reader: RecordReader, key: str, appliance: str) -> list[StepMeasurement]:
    """What the newest jobs of a type of appliance measured at a check, oldest first."""
    return reader.measurements(key, appliance, MOST_JOBS)


def of_capture(reader: RecordReader, key: str, appliance: str, number: int) -> LikeIt | None:
    """The same of a kept capture; None of a check that is not compared, and of one that lies far back."""
    measured = measurements(reader, key, appliance)
    own = next((each for each in measured if each.capture.id == number), None)
    return like_it(measured, own) if own and own.is_compared else None


def like_it(measured: Sequence[StepMeasurement], own: StepMeasurement) -> LikeIt:
    """What healthy ones of its model read before it, and whether it is unlike them."""
    before_ms = own.verdict.at_utc_ms if own.verdict else LATEST
    return like(measured, own.model, own.unit, job=own.job.ref, before_ms=before_ms, value=own.value)


def like(
    measured: Sequence[StepMeasurement], model: tuple[str, str], unit: str, *, job: str, before_ms: int = LATEST,
    value: float | None = None,
) -> LikeIt:  # fmt: skip
    """What healthy ones of a model read before `before_ms`, UTC, in other jobs; `value` of this one, SI."""
    if not model[1]:
        return LikeIt(says=NO_MODEL)
    found = healthy_like(measured, model, unit, job=job, before_ms=before_ms)
    low, high = found.interval.low, found.interval.high
    return LikeIt(says=sentence(found), low=low, high=high, remark=remark(found, value))


def whose(found: HealthyReadings) -> str:
    """Whose readings they are: "this bench's own", "3 of door, 2 of window"."""
    return ", ".join(f"{n} of {bench}" for bench, n in sorted(found.benches.items()) if bench) or "this bench's own"


def sentence(found: HealthyReadings) -> str:
    """How many healthy ones there are, where the next is expected, and what that rests on.

    Below `FEWEST` the readings themselves; no interval is told of them.
    """
    model, interval = name(found), found.interval
    beyond = f" {interval.bounds} more read beyond a range, or not above zero: counted, not averaged."
    bounds = beyond if interval.bounds else ""
    if not found.measured:
        return f"No healthy {model} was measured here before."
    if interval.low is None or interval.high is None:
        shown = ", ".join(
            f"{units.show(value, found.unit)} ({each.job.ref})"
            for each in found.measured
            if (value := each.value) is not None and value > 0.0
        )
        few = f": fewer than {FEWEST} tell no interval" if shown else ""
        return f"Healthy {model}: {shown or 'no number'}{few}.{bounds}"
    low, high = (units.show(end, found.unit, 3) for end in (interval.low, interval.high))
    few = "few, " if interval.count < ROBUST_FROM else ""
    days = dict.fromkeys(wording.day(each.job.opened_utc_ms) for each in (found.measured[0], found.measured[-1]))
    return (
        f"Healthy {model}: 19 in 20 are expected from {low} to {high}, by {interval.count} readings "
        f"({few}{whose(found)}; {' to '.join(days)}).{bounds}"
    )


def remark(found: HealthyReadings, value: float | None) -> str:
    """What is said of a value, SI, that is unlike them; "" where it is like them, or too few are known to say."""
    if value is None or not found.interval.is_unlike(value):
        return ""
    earlier = "the workshop's earlier ones" if any(found.benches) else "your earlier ones"
    return f"{units.show(value, found.unit)} is unlike {earlier} of this model. {NO_VERDICT}"


def name(found: HealthyReadings) -> str:
    """Make and model."""
    return f"{found.make} {found.model}".strip()
