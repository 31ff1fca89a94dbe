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
    from meterlog.heating.trace.periods import NotFound, Plateau


@dataclass(frozen=True, slots=True, kw_only=True)
class Along:
    """What the straight part of the ramp told.

    Attributes:
        power: at full output, W, with its errors.
        seconds: from where its line meets the level before to where it meets the level after, s, with its errors:
            as long as full output would have taken for all the heat that the load got.
        kept: time, s, that the heater needed for heat that the load never got; an estimate with its error.
        lag: of probe and heater at the start, s.
    """

    power: Estimate
    seconds: Estimate
    kept: Estimate
    lag: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadBalance:
    """What the trace told of one load.

    Attributes:
        heating: when it was heated.
        energy: heat that it got, J, with its errors.
        first, last: its temperature at the ends of heating.
        lost: heat that went to the room during heating, J.
        before, after: the still stretches; None where the ramp alone was used.
        along: what the ramp told, where power is its slope; None where power is the rise over the time.
        in_load: what shows that the probe stood in the load, in words, for before and after.
        refused: what was tried and not done on the way.
    """

    heating: Heating
    energy: Estimate
    first: End
    last: End
    exchange: Exchange
    lost: float
    before: Plateau | None = None
    after: Plateau | None = None
    along: Along | None = None
    in_load: tuple[str, ...] = ()
    refused: tuple[NotFound, ...] = ()

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
