"""A dead circuit, proved by a known source before and after."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.walk.proofs import Proof, Spell, lengthened
from meterlog.walk.settle import STRAY_VOLTS, Criterion, Lost, Sample, Signal, Sort, Stage, State, Stream, Window

if TYPE_CHECKING:
    from meterlog.base.readings import Capture, Reading

SOURCE_PART = 0.05
"""The source is known to so much of its voltage."""
SOURCE_S = 1.2
SOURCE_STILL = 0.02
"""Readings of the source agree to so much of it."""
DEAD_VOLTS = 1.0
"""Near zero where neither the step's limit nor 5 % of its source is larger."""
CHARGE_S = 2.0
"""DC volts that lasted so long at the points without coming to rest were a charge. A meter's own fall is shorter."""
FALL_S = 1.5
"""A charge that runs down through the meter takes longer for its last halving; one that is left is gone sooner."""


class DeadProof(Proof):
    """A known source, the points near zero and settled, the known source again: then it is dead.

    The lowest settled window between the two is the answer: the air may read higher, never steadier
    and lower. Points that float wander on a fine display as the air does: within what leads pick up,
    that is steady enough where nothing steadier is seen. Volts that fall, and are gone at once, tell of
    leads that left a charge, for the air reads as a dead point does: the proof begins again. Signals
    `Stage` "points" and "source"; `Lost` when the second source finds nothing near zero, or a charge.
    """

    def __init__(
        self, stream: Stream, criterion: Criterion, hold_s: float, source: float | None, dead: float, mode: str = "dc"
    ) -> None:
        super().__init__(stream)
        self._source, self._dead, self._pick_up = source, dead, STRAY_VOLTS[mode or "dc"]
        whole = lengthened(criterion, hold_s)
        self._window, self._floating = Window(whole), Window(replace(whole, wander=self._pick_up))
        self._start_again()

    def _start_again(self) -> None:
        self._first: tuple[int, int] | None = None
        self._at_source = Spell(SOURCE_S)
        self._lowest: Capture | None = None
        self._floats, self._charged, self._left_charge = False, False, False
        self._charge: Spell | None = None
        self._low_since: float | None = None
        self._clear_windows()

    def forget(self) -> None:
        """Begin again at the source: nothing from before counts."""
        self._start_again()

    def _break_run(self, at: float) -> None:
        self._at_source.clear()
        self._clear_windows()

    def _clear_windows(self) -> None:
        self._window.clear()
        self._floating.clear()

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
            self._clear_windows()
            self.state = State.CONTACT
            return self._at_source_or_passing(sample)
        self._at_source.clear()
        self.state = State.APART
        if self._first is None or sample.reading.value is None:
            self._clear_windows()
            return []
        return self._points(sample)

    def _at_source_or_passing(self, sample: Sample) -> list[Signal]:
        """A source stands; a charge may fall through its volts."""
        begun = self._at_source.first
        if begun is not None and abs(_volts(sample) - _volts(begun)) > SOURCE_STILL * abs(_volts(begun)):
            self._at_source.clear()
        if self._at_source.add(sample):
            self._charge = None
            return self._sourced()
        self._see_charge(sample)
        return []

    def _points(self, sample: Sample) -> list[Signal]:
        self._see_charge(sample)
        period = self._stream.pace.period
        steady, floating = self._window.add(sample, period), self._floating.add(sample, period)
        run = steady or (floating if self._lowest is None or self._floats else None)
        if run is None:
            return []
        self.state = State.SETTLING
        fresh = self._lowest is None
        if fresh or (steady is not None and self._floats) or _size(run) < _size(self._lowest):
            self._lowest, self._floats = run, steady is None
        if _size(run) > self._air:
            self._charge = Spell(CHARGE_S)  # it stands there: no charge that falls
        return [Stage("source")] if fresh and _size(run) <= self._dead else []

    @property
    def _air(self) -> float:
        """What leads in the air stay below, V."""
        return max(self._pick_up, SOURCE_PART * abs(self._source or 0.0))

    def _see_charge(self, sample: Sample) -> None:
        """Follow volts at the points that came after the source was left; alternating ones are the air's."""
        size, fell_s = abs(_volts(sample)), sample.at - (self._low_since or sample.at)
        if size > 2 * self._air:
            self._low_since = None
        elif self._low_since is None:
            self._low_since = sample.at
        if size <= self._air:
            charged = self._charge is not None and self._charge.is_long_enough
            self._left_charge = self._left_charge or (charged and fell_s < FALL_S)
            self._charge = Spell(CHARGE_S)
        elif self._charge is not None and sample.reading.form.mode != "ac":
            self._charged = self._charge.add(sample) or self._charged

    def _sourced(self) -> list[Signal]:
        span, lowest = self._at_source.span, self._lowest
        if self._first is None:
            self._first = span
            return [Stage("points")]
        if self._left_charge or (lowest is None and self._charged):
            self._start_again()
            self.state = State.LIFT_FIRST
            return [Lost(CHARGE_S, "not proved dead: a charge was there; discharge it, and begin at the source")]
        if lowest is None:
            self._first = span
            return []
        if _size(lowest) <= self._dead:
            return self._captured(_proved(lowest, "dead proved", (self._first, span)))
        self._start_again()
        self._first = span
        shown = f"{lowest.reading.digits} {lowest.form.unit}"
        return [Lost(lowest.ended - lowest.started, f"not proved dead: the lowest steady reading was {shown}")]


def _volts(sample: Sample) -> float:
    assert sample.reading.value is not None, "only numbers come here"
    return sample.reading.value


def _size(run: Capture | None) -> float:
    value = run.reading.value if run else None
    return abs(value) if value is not None else float("inf")


def _proved(run: Capture, how: str, proof: tuple[tuple[int, int], ...]) -> Capture:
    return replace(run, how=how, proof=proof)
