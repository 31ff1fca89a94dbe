"""Kept records turned back into the core's, so that a conclusion can be reached again."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING

from meterlog.judging.limit import Rule
from meterlog.procedure.case import Case, InstrumentFacts, StepAnswer
from meterlog.procedure.heating_step import MAINS_SIDE
from meterlog.procedure.language import read_kept_procedure
from meterlog.procedure.typed import typed_answer
from meterlog.profile import read_kept_profile

if TYPE_CHECKING:
    from meterlog.base.readings import Reading
    from meterlog.procedure.steps import Procedure
    from meterlog.profile import Profile
    from meterlog.record.kept import CaptureRecord, VerdictRecord
    from meterlog.record.reader import RecordReader

DAY_S = 86_400.0


def facts_of(text: str, taken_utc_ms: int) -> InstrumentFacts:
    """The facts kept of an instrument, as they stood when a capture was taken."""
    kept = json.loads(text)
    age = None
    if "calibrated" in kept:
        day = date.fromisoformat(kept["calibrated"])
        age = taken_utc_ms / 1000.0 - (day - date(1970, 1, 1)).days * DAY_S
    ambient, voltage = kept.get("ambient_K"), kept.get("open_circuit_voltage_V")
    return InstrumentFacts(
        calibrated_age_s=age,
        ambient_k=float(ambient) if ambient else None,
        open_circuit_voltage=float(voltage) if voltage else None,
    )


class Revisit:
    """A record's evidence as what conclusions are made of. Texts are compiled once."""

    def __init__(self, reader: RecordReader) -> None:
        self.reader = reader
        self._profiles: dict[str, Profile] = {}
        self._procedures: dict[str, Procedure] = {}

    def text(self, sha256: str) -> str:
        """The bytes of a kept text. Raises: KeyError when it is not kept."""
        kept = self.reader.text(sha256)
        if kept is None:
            raise KeyError(f"no text {sha256[:8]}")
        return kept.body

    def profile(self, sha256: str) -> Profile:
        if sha256 not in self._profiles:
            self._profiles[sha256] = read_kept_profile(self.text(sha256), f"kept profile {sha256[:8]}")
        return self._profiles[sha256]

    def procedure(self, sha256: str) -> Procedure:
        if sha256 not in self._procedures:
            self._procedures[sha256] = read_kept_procedure(self.text(sha256), f"kept procedure {sha256[:8]}")
        return self._procedures[sha256]

    def verdict(self, number: int) -> VerdictRecord:
        """A kept verdict. Raises: KeyError when it is not there."""
        kept = self.reader.verdict(number)
        if kept is None:
            raise KeyError(f"no verdict {number}")
        return kept

    def key_of(self, verdict: VerdictRecord) -> str:
        """The key of the step that a verdict is on."""
        return next(step.key for step in self.reader.steps(verdict.job) if step.id == verdict.step)

    def capture(self, number: int) -> CaptureRecord:
        """A kept capture. Raises: KeyError when it is not there."""
        kept = self.reader.capture(number)
        if kept is None:
            raise KeyError(f"no capture {number}")
        return kept

    def answer(self, kept: CaptureRecord) -> StepAnswer:
        """A kept capture with its instrument, as a verdict rests on it."""
        if kept.capture.typed is not None:
            return typed_answer(kept.capture)
        if kept.instrument is None or kept.ended_utc_ms is None:
            return StepAnswer(capture=kept.capture)
        return StepAnswer(
            capture=kept.capture,
            instrument=kept.instrument.name,
            accuracy=self.profile(kept.instrument.profile).accuracy(kept.capture.form),
            facts=facts_of(self.text(kept.instrument.facts), kept.ended_utc_ms),
            log=lambda: self.reader.run(kept),
            beside=lambda: self._beside(kept),
        )

    def _beside(self, kept: CaptureRecord) -> tuple[tuple[float, Reading], ...]:
        """What other instruments read of the mains side during a heating run."""
        return self.reader.meanwhile(kept, frozenset(MAINS_SIDE)) if kept.capture.is_run else ()

    def case(self, verdict: VerdictRecord) -> Case:
        """The case that a verdict was reached from, as its context says."""
        basis = verdict.basis
        return Case(
            procedure=self.procedure(verdict.procedure),
            where=basis.where,
            rule=Rule(basis.rule) if basis.rule else None,
            entries=basis.entries,
            answers={key: self.answer(self.capture(number)) for key, number in basis.captures.items()},
        )
