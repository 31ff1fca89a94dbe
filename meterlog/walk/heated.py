"""The run of a heating step: the thermometer's readings before, during and after it, as one capture.

When a person (or a switch) tells start and stop, the run ends `AFTER_S` after the stop: the probe
may have been out while it ran, and the stirred plateau and its drift are part of the run. When
nobody tells, it ends once the temperature has risen and found no new height for as long.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.readings import HEATING_RUN
from meterlog.walk.rise import Rise
from meterlog.walk.settle import Settled, State, capture_of

if TYPE_CHECKING:
    from meterlog.base.readings import Capture, Timing
    from meterlog.walk.settle import Sample, Signal, Sort, Stream

AFTER_S = 90.0
"""How long the thermometer is read after heating, as the words of its phase say: 10 s of stirring, then what tells the
level and its drift."""


class HeatingLog:
    """Keeps a thermometer's readings from when the step is at hand until the run is over."""

    def __init__(self, stream: Stream) -> None:
        self.state = State.APART
        self._stream = stream
        self._seen = Rise()
        self._timing: Timing | None = None

    def heated(self, timing: Timing) -> None:
        """Heating was switched on and off."""
        self._timing = timing

    def take(self, sample: Sample, sort: Sort) -> list[Signal]:
        if self.state is State.CAPTURED or not self._seen.add(sample, sort) or not self._is_over(sample.at):
            return []
        self.state = State.CAPTURED
        return [Settled(self._capture())]

    def confirm(self) -> list[Signal]:
        """The run as it is now, for a person who need not wait; nothing before heating has ended."""
        if self._timing is None or not self._seen.samples:
            return []
        self.state = State.CAPTURED
        return [Settled(self._capture())]

    def finish(self) -> list[Signal]:
        """The recording ends: so does a run in which something was heated."""
        if self.state is State.CAPTURED or (self._timing is None and not self._seen.has_risen):
            return []
        self.state = State.CAPTURED
        return [Settled(self._capture())] if self._seen.samples else []

    def _is_over(self, at: float) -> bool:
        if self._timing is not None:
            return at >= self._timing.stopped + AFTER_S
        return self._seen.is_over(at, AFTER_S)

    def _capture(self) -> Capture:
        return replace(capture_of(self._seen.samples, HEATING_RUN), timing=self._timing)
