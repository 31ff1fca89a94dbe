"""The run of a heating step: the thermometer's readings before, during and after it, as one capture.

When a person (or a switch) tells start and stop, the run ends `AFTER_S` after the stop: the probe
may have been out while it ran, and the stirred plateau and its drift are part of the run. When
nobody tells, it ends once the temperature has risen and found no new height for as long. Of two vessels that one probe
is carried between, it ends once the person said of both, after the stop, that the probe was under.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.readings import HEATING_RUN
from meterlog.walk.settle import Settled, State, capture_of
from meterlog.walk.water_rise import Rise

if TYPE_CHECKING:
    from meterlog.base.readings import Capture, Timing
    from meterlog.walk.settle import DisplayStream, Sample, Signal, Sort

AFTER_S = 90.0
"""How long the thermometer is read after heating, as the words of its phase say: 10 s of stirring, then what tells the
level and its drift."""


HELD_S = 60.0
"""How long it is read at least from when the whole probe is under in a load: 10 s of stirring, and its level."""


class HeatingLog:
    """Keeps a thermometer's readings from when the step is at hand until the run is over."""

    def __init__(self, stream: DisplayStream, *, is_carried: bool = False) -> None:
        self.state = State.APART
        self._stream = stream
        self._seen = Rise()
        self._timing: Timing | None = None
        self._is_carried = is_carried
        self._immersed: list[tuple[str, float]] = []
        self._is_told = False

    def begun(self) -> None:
        """Heating was switched on: a person tells, so that the run does not end by itself before they tell the stop."""
        self._is_told = True

    def heated(self, timing: Timing) -> None:
        """Heating was switched on and off."""
        self._timing = timing

    def immersed(self, load: str, at: float) -> None:
        """The whole probe is under in a load, a person says."""
        self._immersed.append((load, at))
        self._is_told = True

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
        if self._timing is None:
            return not self._is_told and self._seen.is_over(at, AFTER_S)
        stopped = self._timing.stopped
        later = [(load, since) for load, since in self._immersed if since >= stopped]
        if self._is_carried and len({load for load, _ in later}) == 1:
            return False
        return at >= max([stopped + AFTER_S, *(since + HELD_S for _, since in later)])

    def _capture(self) -> Capture:
        timing = replace(self._timing, immersed=tuple(self._immersed)) if self._timing else None
        return replace(capture_of(self._seen.samples, HEATING_RUN), timing=timing)
