"""What the desk keeps of the job at hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Container, Mapping

    from meterlog.procedure.steps import Procedure
    from meterlog.walk import Snapshot
    from meterlog.walk.session import ByCase, Session


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
    bench: Container[str]
    leave: Callable[[], None] = lambda: None
    """Called when the job is no longer at hand: whatever it was taken up from is let go."""
    captures: dict[str, list[int]] = field(default_factory=dict)
    verdicts: dict[str, int] = field(default_factory=dict)

    @property
    def step_id(self) -> int | None:
        step = self.session.walk.step
        return self.steps[step.key] if step else None

    def counting(self) -> dict[str, int]:
        """By step key, the store's number of the capture that counts."""
        chosen = {key: self.procedure.step(key).counting(numbers) for key, numbers in self.captures.items()}
        return {key: number for key, number in chosen.items() if number is not None}

    def snapshot(self) -> Snapshot:
        """The walk with the job's reference, its verdicts' numbers, and what the step at hand lacks."""
        walk, absent = self.session.walk.snapshot(), self._absent()
        lacks = f"This check asks for the instrument {absent}, which this bench does not have: " if absent else ""
        lacks += "type what it shows, or skip the check with the reason. " if absent else ""
        return replace(
            walk,
            job=self.ref,
            words=lacks + walk.words,
            verdicts=dict(self.verdicts),
            asks=self._asks(),
            absent=absent,
        )

    def _absent(self) -> str:
        """The instrument that the step at hand asks for by name, and that this bench does not have; "" otherwise."""
        step = self.session.walk.step
        return step.instrument if step and step.instrument and step.instrument not in self.bench else ""

    def _asks(self) -> dict[str, str]:
        """Quantity by name of the entries that the step at hand needs and nobody has told yet."""
        step = self.session.walk.step
        if step is None:
            return {}
        needed = {*step.inputs.values(), *(limit.of for limit in step.limits)}
        known = self.procedure.entries
        return {name: known[name] for name in known if name in needed and name not in self.entries}
