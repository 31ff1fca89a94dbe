"""The heat balance of a load: temperatures at the ends of heating, with their errors, to useful power.

    energy = m [h(T2) - h(T1)] + C_v (T2 - T1) + heat lost to the room,      power = energy / time

or, from the straight part of the ramp, the same balance per second. Errors that two temperatures
share (offset and gain of the one thermometer) are one error in both, so that what cancels cancels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import Error, Estimate, error_of, estimate, nominal, rectangle
from meterlog.heating import water
from meterlog.heating.balance import exchange
from meterlog.heating.balance.vessel import NO_VESSEL, Vessel
from meterlog.heating.trace.periods import NotFound

if TYPE_CHECKING:
    from meterlog.heating.balance.exchange import Exchange
    from meterlog.heating.stated import StatedValue

GAIN_DOUBT = 0.002
"""Standard uncertainty of a thermometer's gain, part of the rise (common practice, no source: 0.2 to 0.5 %)."""
OFFSET = 0.5
"""K: half width of a thermometer's offset, shared by all its readings (common practice, no source)."""
NOT_STATED = 0.004
"""Standard uncertainty, part of the heat, of what passes late between the water and a vessel that nobody stated, and
is read as the room's (common practice, no source). What the vessel took itself is not counted: a lower bound."""
MOST_VESSEL = 2.0
"""A vessel of more heat than this many times its water's is a slip of a unit: iron of its water's mass has 0.1."""
MIXING = 0.05
"""K: standard uncertainty of one place standing for a stirred load (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What is heated: water, kg, before and, where it was weighed again, after; and its vessel."""

    mass: StatedValue
    vessel: Vessel = NO_VESSEL
    mass_after: StatedValue | None = None

    def why_not(self) -> NotFound | None:
        """The reason why this is no load that could have been heated, or None."""
        if self.vessel.capacity > MOST_VESSEL * self.mass.value * water.specific_heat(exchange.USUAL_ROOM):
            grams, joules = self.mass.value * 1000.0, self.vessel.capacity
            why = (
                f"the vessel stated takes {joules:.0f} J/K, more than {MOST_VESSEL:g} times its {grams:.0f} g of water"
            )
            return NotFound(what="vessel", why=why, advice="check the units of --vessel and --mass")
        if self.mass_after is not None:
            doubt = (self.mass.half_width or 0.0) + (self.mass_after.half_width or 0.0)
            if self.mass_after.value > self.mass.value + doubt:
                grams = (self.mass_after.value - self.mass.value) * 1000.0
                why = f"the water weighed {grams:.1f} g more after the run than before"
                return NotFound(what="evaporation", why=why, advice="weigh the same things on the same scale")
        return None

    def capacity(self, kelvin: float) -> float:
        """Heat capacity of water and vessel at a temperature, J/K."""
        return self.mass.value * water.specific_heat(kelvin) + self.vessel.capacity

    def water_mass(self) -> Estimate:
        """The mass with its error."""
        return estimate(self.mass.value, rectangle("mass of the water", self.mass.half_width or 0.0, self.mass.text))

    def vessel_capacity(self) -> Estimate:
        """Heat capacity of the vessel, J/K, with the errors of its pieces."""
        errors = [
            rectangle(name, slope * half_width, "vessel table")
            for piece in self.vessel.pieces
            for name, slope, half_width in piece.doubts()
        ]
        if not self.vessel.pieces:
            between = NOT_STATED * self.mass.value * water.specific_heat(exchange.USUAL_ROOM)
            errors = [Error(name="vessel not stated", standard_uncertainty=between, source=_PRACTICE)]
        return estimate(self.vessel.capacity, *errors)


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """The load's temperature, K, at an end of heating: scatter of its fit, what it is worth, display half step."""

    kelvin: float
    u_fit: float
    worth: float
    half_step: float
    name: str

    def with_errors(self, shared: Shared) -> Estimate:
        """The temperature with the errors of its own and the thermometer's offset."""
        scatter = Error(
            name=f"scatter {self.name}", standard_uncertainty=self.u_fit, distribution="readings",
            degrees_of_freedom=max(self.worth - 1.0, 2.0), source="fit of the readings",
        )  # fmt: skip
        step = rectangle(f"display step {self.name}", self.half_step, "half a step of the last digit")
        mixing = Error(name=f"mixing {self.name}", standard_uncertainty=MIXING, source="common practice, no source")
        return estimate(self.kelvin, scatter, step, mixing) + shared.offset


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """The errors that enter more than once, each one number."""

    offset: Any = field(default_factory=lambda: error_of(rectangle("thermometer offset", OFFSET, _PRACTICE)))
    gain: Any = field(
        default_factory=lambda: error_of(
            Error(name="thermometer gain", standard_uncertainty=GAIN_DOUBT, source=_PRACTICE)
        )
    )
    heat: Any = field(
        default_factory=lambda: error_of(
            Error(
                name="specific heat of the water",
                standard_uncertainty=water.SPECIFIC_HEAT_DOUBT,
                source="IAPWS-95, and salt of tap water",
            )
        )
    )


_PRACTICE = "common practice, no source"


def exchange_error(exchange: Exchange, slopes: tuple[float, float, float]) -> Estimate:
    """An error of nothing for the exchange with the room, in the unit of a result with these slopes over it."""
    return estimate(
        0.0,
        Error(
            name="exchange with the room",
            standard_uncertainty=exchange.doubt_of(slopes),
            source="drifts, and what is usual",
        ),
    )


def enthalpy_at(kelvin: Estimate, near: float) -> Estimate:
    """Specific enthalpy of water, J/kg, at a temperature with errors."""
    return water.enthalpy(near) + water.specific_heat(near) * (kelvin - near)


def useful_energy(load: Load, first: End, last: End, lost: float, shared: Shared) -> Estimate:
    """Heat, J, that the run brought into the load; `lost` J of it went to the room meanwhile."""
    t1, t2 = first.with_errors(shared), last.with_errors(shared)
    t2 = t2 + shared.gain * (last.kelvin - first.kelvin)
    h1, h2 = enthalpy_at(t1, first.kelvin), enthalpy_at(t2, last.kelvin)
    into_water = load.water_mass() * (h2 - h1) * (1.0 + shared.heat)
    if load.mass_after is not None:
        into_water = into_water + _steam(load, first.kelvin, last.kelvin)
    return into_water + load.vessel_capacity() * (t2 - t1) + lost


def _steam(load: Load, first: float, last: float) -> Estimate:
    """Heat, J, that left with the steam, by weighing; the steam is taken at four fifths of the way up."""
    assert load.mass_after is not None
    half = load.mass_after.half_width or 0.0
    after = estimate(load.mass_after.value, rectangle("mass after the run", half, load.mass_after.text))
    per_kg = water.vapour_enthalpy(first + 0.8 * (last - first)) - water.enthalpy(last)
    return (load.water_mass() - after) * per_kg


def steam_heat(load: Load, first: float, last: float) -> float:
    """Heat, J, that left with the weighed steam."""
    return nominal(_steam(load, first, last))


def ramp_power(load: Load, *, enthalpy_slope: float, slope: Estimate, lost: float, shared: Shared) -> Estimate:
    """Power, W, from the ramp: slopes of enthalpy, J/(kg s), and temperature, K/s; `lost` W go to the room."""
    rise = nominal(slope)
    relative = slope / rise * (1.0 + shared.gain)
    into_water = load.water_mass() * enthalpy_slope * (1.0 + shared.heat)
    return (into_water + load.vessel_capacity() * rise) * relative + lost


def display_half_step(resolution: float, scatter: float, drift: float) -> float:
    """Half width, K, of what a display's steps hide from a mean of readings.

    Noise and drift carry readings across steps, and the mean then sees between them: with noise the first
    harmonic of the staircase's error falls as exp(-2 π² σ²/d²), with drift as one over the steps passed.
    """
    if not resolution:
        return 0.0
    noise = max(scatter**2 - resolution**2 / 12.0, 0.0)
    dithered = math.exp(-2.0 * math.pi**2 * noise / resolution**2)
    return resolution / 2.0 * max(dithered / (1.0 + 2.0 * abs(drift) / resolution), 0.05)
