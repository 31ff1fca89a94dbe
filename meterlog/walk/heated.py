"""The run of a heating step: the thermometer's readings before, during and after it, as one capture.

When a person (or a switch) tells start and stop, the run ends `AFTER_S` after the stop: the probe
may have been out while it ran, and the stirred plateau and its drift are part of the run. When
nobody tells, it ends once the temperature has risen and found no new height for as long.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.settle import Settled, Sort, State, capture_of

if TYPE_CHECKING:
    from meterlog.readings import Capture, Timing
    from meterlog.settle import Sample, Signal, Stream

HEATING_RUN = "heating run"
"""How such a capture was chosen."""

AFTER_S = 90.0
"""How long the thermometer is read after heating: a minute for stirring and reading, half of one for drift."""

RISE_K = 3.0
"""A rise that is no draught and no hand on the probe."""


class HeatingLog:
    """Keeps a thermometer's readings from when the step is at hand until the run is over."""

    def __init__(self, stream: Stream) -> None:
        self.state = State.APART
        self._stream = stream
        self._samples: list[Sample] = []
        self._timing: Timing | None = None
        self._lowest = float("inf")
        self._highest = float("-inf")
        self._highest_at = 0.0

    def heated(self, timing: Timing) -> None:
        """Heating was switched on and off."""
        self._timing = timing

    def take(self, sample: Sample, sort: Sort) -> list[Signal]:
        value = sample.reading.value
        if sort in (Sort.OTHER, Sort.FROZEN) or value is None or self.state is State.CAPTURED:
            return []
        self._samples.append(sample)
        self._lowest = min(self._lowest, value)
        if value > self._highest + 2 * sample.reading.form.resolution:
            self._highest, self._highest_at = value, sample.at
        if not self._is_over(sample.at):
            return []
        self.state = State.CAPTURED
        return [Settled(self._capture())]

    def confirm(self) -> Capture | None:
        """The run as it is now, for a person who need not wait; None before heating has ended."""
        if self._timing is None or not self._samples:
            return None
        self.state = State.CAPTURED
        return self._capture()

    def finish(self) -> list[Signal]:
        """The recording ends: so does a run in which something was heated."""
        if self.state is State.CAPTURED or (self._timing is None and self._highest - self._lowest < RISE_K):
            return []
        self.state = State.CAPTURED
        return [Settled(self._capture())] if self._samples else []

    def _is_over(self, at: float) -> bool:
        if self._timing is not None:
            return at >= self._timing.stopped + AFTER_S
        return self._highest - self._lowest >= RISE_K and at - self._highest_at >= AFTER_S

    def _capture(self) -> Capture:
        return replace(capture_of(self._samples, HEATING_RUN), timing=self._timing)
