"""What the desk keeps of the job at hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.procedure.steps import Procedure
    from meterlog.session import Session


@dataclass(slots=True)
class OpenJob:
    """A job's session with the numbers that its steps, captures and verdicts have in the store."""

    number: int
    ref: str
    procedure: Procedure
    steps: Mapping[str, int]
    session: Session
    where: str
    entries: dict[str, str]
    captures: dict[str, list[int]] = field(default_factory=dict)
    verdicts: dict[str, int] = field(default_factory=dict)

    @property
    def step_id(self) -> int | None:
        step = self.session.walk.step
        return self.steps[step.key] if step else None

    def counting(self) -> dict[str, int]:
        """By step key, the store's number of the capture that counts."""
        first = {step.key for step in self.procedure.steps if step.counts == "first"}
        return {key: numbers[0 if key in first else -1] for key, numbers in self.captures.items()}

    def snapshot(self) -> dict[str, Any]:
        """The walk for pages, with the job's reference and verdict numbers."""
        return {"job": self.ref, **self.session.walk.snapshot(), "verdicts": dict(self.verdicts)}
