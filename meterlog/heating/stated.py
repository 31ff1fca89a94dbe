"""What the person states: a value with its unit and, after ±, the half width they vouch for.

"1000 g ± 2 g"   "1 L ± 2 %"   "21 °C ± 0.5 K"   "900 W"   "60 s"
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.spelling import NUMBER, split_doubt, split_range
from meterlog.heating.water import ZERO_CELSIUS

LIGHTEST_KG, HEAVIEST_KG = 0.02, 500.0
"""Loads outside are slips of the unit: a cup is 0.2 kg, a laundry copper 100 kg."""
ROOM = (ZERO_CELSIUS - 25.0, ZERO_CELSIUS + 55.0)
"""K: air that somebody repairs in, a winter's yard to a roof in summer."""
DOUBTED_ROOM_K = 15.0
"""A room known no better is not stated at all."""
LITRE_MASS = 0.9982
"""kg of water in a litre at 20 °C (IAPWS-95: 998.207 kg/m³)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedValue:
    """A value stated or measured, SI, and the half width of the rectangle it lies in; None when none was stated.

    `text` is as it was stated, "" where it was measured.
    """

    value: float
    half_width: float | None = None
    text: str = ""

    @property
    def standard_uncertainty(self) -> float:
        """Half width over √3 (JCGM 100:2008, 4.3.7), 0 when none was stated."""
        return (self.half_width or 0.0) / math.sqrt(3.0)

    def shown(self, unit: str) -> str:
        """As it was stated; with its SI unit where it was measured."""
        return self.text or f"{self.value:.6g} {unit} ± {self.half_width or 0.0:.2g} {unit}"

    def or_half_width(self, half_width: float) -> StatedValue:
        """The same, with a half width where none was stated."""
        if self.half_width is not None:
            return self
        return StatedValue(value=self.value, half_width=half_width, text=self.text)


def read_stated(text: str, like: str, difference: str = "") -> StatedValue:
    """A value of the kind of `like`, such as "1000 g ± 2 g"; ± may be in % of it, or in a unit like `difference`.

    Raises: WrongValue, saying what to write.

    >>> read_stated("1000 g ± 2 g", "kilogram").half_width
    0.002
    """
    if ends := split_range(text):
        low, high = sorted(units.parse(end, like) for end in ends)
        return StatedValue(value=(low + high) / 2, half_width=(high - low) / 2, text=text.strip())
    stated, width = split_doubt(text)
    value = units.parse(stated, like)
    if not width:
        return StatedValue(value=value, text=text.strip())
    if width.endswith("%"):
        half = abs(value) * units.parse(width, "dimensionless")
    else:
        half = units.parse(width, difference or like)
    if half < 0.0:
        raise WrongValue(f"what stands after ± is a width, at least 0, not {width!r}")
    return StatedValue(value=value, half_width=half, text=text.strip())


def read_mass(text: str) -> StatedValue:
    """Mass of the water, kg, from "1000 g ± 2 g" or, less well, a volume such as "1 L".

    Without ±: two readings of a kitchen scale, ± 2 g or 0.2 %; a jug's mark, ± 3 % (common practice, no source).
    Raises: WrongValue when it is no mass or volume, or not above 0.
    """
    _, unit = units.split_measure(split_doubt(text)[0])
    if not units.same_kind(unit, "liter"):
        weighed = read_stated(text, "kilogram")
        return checked_mass(weighed.or_half_width(max(0.002, 0.002 * weighed.value)))
    volume = read_stated(text, "liter")
    litres = volume.value / units.parse("1 liter", "liter")
    half = volume.half_width / volume.value if volume.half_width is not None and volume.value else 0.03
    return checked_mass(
        StatedValue(value=litres * LITRE_MASS, half_width=litres * LITRE_MASS * half, text=text.strip())
    )


def checked_mass(mass: StatedValue) -> StatedValue:
    """The mass of a load, kg, stated or weighed. Raises: WrongValue when nobody heats that, or it is hardly known."""
    if not mass.value > 0.0:
        raise WrongValue(f"the load must weigh more than nothing, not {mass.shown('kg')!r}")
    if not LIGHTEST_KG <= mass.value <= HEAVIEST_KG or (mass.half_width or 0.0) > mass.value / 2.0:
        most = f"{LIGHTEST_KG * 1000.0:g} g to {HEAVIEST_KG:g} kg of water, known to its half or better"
        raise WrongValue(f"a heated load is {most}, not {mass.shown('kg')!r}: is the unit right?")
    return mass


def read_room(text: str) -> StatedValue:
    """Temperature of the room's air, K, from "21 °C" or "21 °C ± 0.5 K".

    Raises: WrongValue when it is no temperature, or none that a person works in.
    """
    return checked_room(read_stated(text, "kelvin", "delta_degC"))


def checked_room(room: StatedValue) -> StatedValue:
    """The air of a room, K, stated or measured. Raises: WrongValue when nobody works in that, or it is hardly known."""
    coldest, hottest = ROOM
    if not coldest <= room.value <= hottest or (room.half_width or 0.0) > DOUBTED_ROOM_K:
        celsius = f"{coldest - ZERO_CELSIUS:g} °C to {hottest - ZERO_CELSIUS:g} °C, ± {DOUBTED_ROOM_K:g} K or less"
        raise WrongValue(f"the air of a room is {celsius}, not {room.shown('K')!r}: is the unit right?")
    return room


def read_moment(text: str) -> StatedValue:
    """A moment on the trace's clock, s, from "95 s", "1.5 min" or, in the trace's own seconds, "95"."""
    bare, width = split_doubt(text)
    if re.fullmatch(NUMBER, bare):
        text = f"{bare} s ± {width}" if width else f"{bare} s"
    return read_stated(text, "second")


LONGEST_WARM_UP_S = 60.0


def read_warm_up(text: str) -> StatedValue:
    """How long, s, an appliance takes to full power each time that it is switched on, from "2 s ± 1 s" or "0 s".

    Raises: WrongValue when it is no time, or longer than a minute.
    """
    stated = read_moment(text)
    if not 0.0 <= stated.value <= LONGEST_WARM_UP_S or (stated.half_width or 0.0) > LONGEST_WARM_UP_S:
        raise WrongValue(f"a warm-up is 0 s to {LONGEST_WARM_UP_S:g} s, not {text!r}")
    return stated
