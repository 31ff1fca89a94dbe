"""A dead circuit, proved by a known source before and after."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.settle import Criterion, Lost, Sample, Signal, Sort, Stage, State, Stream, Window
from meterlog.walk.proofs import Proof, Spell, lengthened

if TYPE_CHECKING:
    from meterlog.readings import Capture, Reading

SOURCE_PART = 0.05
"""The source is known to so much of its voltage."""
SOURCE_S = 1.2
DEAD_VOLTS = 1.0
"""Near zero where neither the step's limit nor 5 % of its source is larger."""


class DeadProof(Proof):
    """A known source, the points near zero and settled, the known source again: then it is dead.

    The lowest settled window between the two is the answer: the air may read higher, never steadier
    and lower. Signals `Stage` "points" and "source"; `Lost` when the second source finds nothing near zero.
    """

    def __init__(self, stream: Stream, criterion: Criterion, hold_s: float, source: float | None, dead: float) -> None:
        super().__init__(stream)
        self._source, self._dead = source, dead
        self._window = Window(lengthened(criterion, hold_s))
        self._start_again()

    def _start_again(self) -> None:
        self._first: tuple[int, int] | None = None
        self._at_source = Spell(SOURCE_S)
        self._lowest: Capture | None = None
        self._window.clear()

    def _break_run(self, at: float) -> None:
        self._at_source.clear()
        self._window.clear()

    def is_source(self, reading: Reading) -> bool:
        """A reading of the known source; where its volts are not stated, anything well above dead."""
        if reading.value is None:
            return False
        if self._source is None:
            return abs(reading.value) > 2 * self._dead
        return abs(abs(reading.value) - abs(self._source)) <= SOURCE_PART * abs(self._source)

    def _as_apart(self, sample: Sample, sort: Sort) -> Sort:
        """Off the source is apart: the leads may still lie on it from the step before."""
        return Sort.NUMBER if self.is_source(sample.reading) else Sort.APART

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        if self.is_source(sample.reading):
            self._window.clear()
            self.state = State.CONTACT
            return self._sourced() if self._at_source.add(sample) else []
        self._at_source.clear()
        self.state = State.APART
        if self._first is None or sample.reading.value is None:
            self._window.clear()
            return []
        return self._points(self._window.add(sample, self._stream.pace.period))

    def _points(self, run: Capture | None) -> list[Signal]:
        if run is None:
            return []
        self.state = State.SETTLING
        fresh = self._lowest is None
        if fresh or _size(run) < _size(self._lowest):
            self._lowest = run
        return [Stage("source")] if fresh and _size(run) <= self._dead else []

    def _sourced(self) -> list[Signal]:
        span, lowest = self._at_source.span, self._lowest
        if self._first is None:
            self._first = span
            return [Stage("points")]
        if lowest is None:
            self._first = span
            return []
        if _size(lowest) <= self._dead:
            return self._captured(_proved(lowest, "dead proved", (self._first, span)))
        self._start_again()
        self._first = span
        shown = f"{lowest.reading.digits} {lowest.form.unit}"
        return [Lost(lowest.ended - lowest.started, f"not proved dead: the lowest steady reading was {shown}")]


def _size(run: Capture | None) -> float:
    value = run.reading.value if run else None
    return abs(value) if value is not None else float("inf")


def _proved(run: Capture, how: str, proof: tuple[tuple[int, int], ...]) -> Capture:
    return replace(run, how=how, proof=proof)
