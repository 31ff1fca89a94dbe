"""Captures of kept jobs as inputs of a method: "J7/earth" is the capture that counts of step earth of job J7."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.judging.postprocess import AtHand
from meterlog.record.revisit import Revisit

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meterlog.judging import Result
    from meterlog.procedure.case import Case
    from meterlog.record.reader import RecordReader

_NAME = re.compile(r"([^\s,=]+)/([^\s,/=]+)")


def names_in(texts: Iterable[str]) -> list[tuple[str, str]]:
    """(job, step) of every kept capture that texts name, each once, in order."""
    parts = [part.strip() for text in texts for part in text.split(",")]
    matches = [match for part in parts if (match := _NAME.fullmatch(part))]
    return list(dict.fromkeys((match[1], match[2]) for match in matches))


def at_hand_of(reader: RecordReader, names: list[tuple[str, str]]) -> AtHand:
    """What a method needs of kept jobs.

    Within one job the captures keep what they share (the gain of a meter, the leads); results of
    several jobs stand each for itself, with its time.

    Raises: CannotDo, when a job or step has no counting capture.
    """
    kept = {ref: _Kept(reader, ref) for ref in dict.fromkeys(ref for ref, _ in names)}
    for ref, key in names:
        if key not in kept[ref].captures:
            raise CannotDo(f"step {key!r} of job {ref} has no capture", f"see its steps with: meterlog job show {ref}")
    if len(kept) == 1:
        ref, job = next(iter(kept.items()))
        own = job.case.at_hand()
        taken = {f"{ref}/{key}": capture for key, capture in own.taken.items()}
        return AtHand(taken=taken, nulls=own.nulls, entries=own.entries)
    return AtHand(earlier={f"{ref}/{key}": (kept[ref].taken_at(key), kept[ref].result(key)) for ref, key in names})


class _Kept:
    """A job as its newest verdict saw it."""

    def __init__(self, reader: RecordReader, ref: str) -> None:
        job = reader.job(ref)
        if job is None:
            raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list")
        verdicts = reader.verdicts(job.id)
        if not verdicts:
            raise CannotDo(f"job {ref} has no verdict yet", f"see its steps with: meterlog job show {ref}")
        self._revisit = Revisit(reader)
        self.case: Case = self._revisit.case(verdicts[-1])
        self.captures = verdicts[-1].basis.captures

    def result(self, key: str) -> Result:
        """The value of a step, its leads taken off."""
        return self.case.at_hand().result(key)

    def taken_at(self, key: str) -> float:
        """When a step's capture ended, s since 1970."""
        return (self._revisit.capture(self.captures[key]).ended_utc_ms or 0) / 1000.0
