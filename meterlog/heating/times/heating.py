"""When a load was heated, once it is known."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Heating:
    """When the load was heated, s on the trace's clock.

    Attributes:
        start, stop: with their standard uncertainties.
        how: where they come from: "stated", "power log", "current log" or "ramp of the trace".
        warm_up: s of it before the generator gave full power, seen in the log; 0 where none was.
        in_load: the probe stood in the load throughout.
    """

    start: float
    stop: float
    u_start: float
    u_stop: float
    how: str
    warm_up: float = 0.0
    in_load: bool = True

    @property
    def duration(self) -> float:
        """From start to stop, s, warm-up included."""
        return self.stop - self.start
