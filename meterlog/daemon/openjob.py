"""What the desk keeps of the job at hand."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.procedure.steps import Procedure
    from meterlog.readings import Capture, Reading
    from meterlog.session import ByCase, Session

LOG_READINGS = 100_000
"""Readings of one source remembered: a heating run of seven hours at four a second."""


@dataclass(slots=True)
class OpenJob:
    """A job's session with the numbers that its steps, captures and verdicts have in the store."""

    number: int
    ref: str
    procedure: Procedure
    steps: Mapping[str, int]
    session: Session
    judge: ByCase
    where: str
    entries: dict[str, str]
    captures: dict[str, list[int]] = field(default_factory=dict)
    verdicts: dict[str, int] = field(default_factory=dict)
    logs: dict[str, deque[tuple[int, float, Reading]]] = field(default_factory=dict)

    @property
    def step_id(self) -> int | None:
        step = self.session.walk.step
        return self.steps[step.key] if step else None

    def remember(self, source: str, ordinal: int, reading: Reading, at: float) -> None:
        """Keep a reading for steps that are concluded from a whole run."""
        self.logs.setdefault(source, deque(maxlen=LOG_READINGS)).append((ordinal, at, reading))

    def log_of(self, source: str, capture: Capture) -> Callable[[], tuple[tuple[float, Reading], ...]]:
        """The (time, reading) of a capture's run, when asked for."""
        log = self.logs.get(source, ())
        return lambda: tuple((at, reading) for n, at, reading in log if capture.first <= n <= capture.last)

    def counting(self) -> dict[str, int]:
        """By step key, the store's number of the capture that counts."""
        first = {step.key for step in self.procedure.steps if step.counts == "first"}
        return {key: numbers[0 if key in first else -1] for key, numbers in self.captures.items()}

    def snapshot(self) -> dict[str, Any]:
        """The walk for pages, with the job's reference and verdict numbers."""
        return {"job": self.ref, **self.session.walk.snapshot(), "verdicts": dict(self.verdicts)}
