"""What the balance found of one load, before methods, corrections and plate are looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import nominal

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate
    from meterlog.heating.balance.exchange import Exchange
    from meterlog.heating.balance.load import End
    from meterlog.heating.times.heating import Heating
    from meterlog.heating.trace.periods import Plateau, Refused


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What the trace told, before methods, corrections and plate are looked at.

    Attributes:
        power, energy: estimates, W and J, with their errors.
        first, last: the load's temperature at the ends of heating.
        lost: heat that went to the room during heating, J.
        duration: the time that the energy is divided by, s, with its errors.
        by_ramp: power is the slope of the ramp, not the rise over the time.
        steady: the power along the ramp, W, where `by_ramp`; kept_s: seconds' worth of heat that the heater kept.
        refused: what was tried and not done on the way.
    """

    heating: Heating
    power: Estimate
    energy: Estimate
    first: End
    last: End
    exchange: Exchange
    lost: float
    duration: Estimate
    before: Plateau | None = None
    after: Plateau | None = None
    by_ramp: bool = False
    steady: Estimate | None = None
    kept_s: float = 0.0
    lag: float = 0.0
    refused: tuple[Refused, ...] = ()

    @property
    def rise(self) -> float:
        """From start to stop, K."""
        return self.last.kelvin - self.first.kelvin

    def drift(self, end: End) -> float:
        """Slope, K/s, with which the load's temperature changed beside an end of heating: its loss to the room."""
        return -self.exchange.loss(end.kelvin) / self.capacity

    @property
    def capacity(self) -> float:
        """Heat that stayed in the load for each kelvin of the rise, J/K."""
        return (nominal(self.energy) - self.lost) / self.rise
