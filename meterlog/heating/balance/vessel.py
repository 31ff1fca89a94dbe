"""The vessel's share of the heat: specific heats of what vessels are made of, and how much of one warms.

Specific heats are of the reference's table (public engineering tables, their spread as half width). How
much of a vessel follows the water within a run is common practice, no source: a glass wall above the
water line stays cool, a thick ceramic one follows late, plastic in part, aluminium and copper do. Between
them stands steel: in t s heat goes sqrt(a t) up a wall, in 150 s 2.4 cm of stainless steel (a = 4 mm²/s) and
11 cm of aluminium (a = 85 mm²/s), so that the dry quarter or third of a steel wall, its handle and lid stay
behind in part (diffusivities of public engineering tables, from memory). Better: state what was measured by
mixing, as "250 J/K ± 20 J/K": m c (T_w - T_mix) / (T_mix - T_0) of warm water poured into the vessel.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.base.spelling import NUMBER, parts_of, tidy
from meterlog.heating.stated import StatedValue, read_stated


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Specific heat, J/(kg K), and the part of a vessel that warms with the water, each with its half width."""

    specific_heat: float
    half_width: float
    warmed: float
    warmed_half_width: float


MEASURED = "measured"
LIGHTEST_KG, HEAVIEST_KG, MOST_CAPACITY = 0.001, 200.0, 100_000.0
"""Pieces of a vessel outside these are slips of the unit; J/K of 200 kg of iron."""
_CERAMIC = (0.8, 0.2)
_GLASS, _PLASTIC, _STEEL, _METAL = (0.8, 0.2), (0.5, 0.3), (0.9, 0.1), (0.95, 0.05)
MATERIALS: dict[str, Material] = {
    name: Material(specific_heat=heat, half_width=half, warmed=warmed[0], warmed_half_width=warmed[1])
    for name, heat, half, warmed in [
        ("glass", 820.0, 60.0, _GLASS),
        ("borosilicate glass", 800.0, 50.0, _GLASS),
        ("soda-lime glass", 840.0, 40.0, _GLASS),
        ("ceramic", 900.0, 150.0, _CERAMIC),
        ("porcelain", 900.0, 150.0, _CERAMIC),
        ("plastic", 1800.0, 150.0, _PLASTIC),
        ("polypropylene", 1800.0, 150.0, _PLASTIC),
        ("steel", 500.0, 20.0, _STEEL),
        ("stainless steel", 500.0, 20.0, _STEEL),
        ("enamelled steel", 500.0, 20.0, _STEEL),
        ("aluminium", 900.0, 20.0, _METAL),
        ("copper", 386.0, 4.0, _METAL),
        ("brass", 390.0, 10.0, _METAL),
        ("iron", 460.0, 20.0, _STEEL),
    ]
}
_AMOUNT = rf"{NUMBER}\s*[^\s\d]\S*"
_MASS, _MATERIAL = rf"{_AMOUNT}(?:\s*±\s*{_AMOUNT})?", r"[A-Za-z][A-Za-z -]*[A-Za-z]"
_PIECE = re.compile(rf"(?P<mass>{_MASS})\s+(?:of\s+)?(?P<material>{_MATERIAL})")
_OTHER_SPELLINGS = {
    "aluminum": "aluminium",
    "stainless": "stainless steel",
    "enamel": "enamelled steel",
    "pp": "plastic",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One piece of a vessel: what it is of, its mass, kg, and the factors of its heat capacity."""

    title: str
    mass: StatedValue
    specific_heat: StatedValue
    warmed: StatedValue

    @property
    def capacity(self) -> float:
        """Heat capacity that takes part, J/K."""
        return self.mass.value * self.specific_heat.value * self.warmed.value

    def doubts(self) -> list[tuple[str, float, float]]:
        """(name, J/K per unit of the factor, the factor's half width) of each factor in doubt."""
        factors = [("mass", self.mass), ("specific heat", self.specific_heat), ("how much warms", self.warmed)]
        return [
            (f"vessel, {self.title}: {name}", self.capacity / factor.value, factor.half_width)
            for name, factor in factors
            if factor.half_width
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """What holds the water. No pieces: not counted."""

    pieces: tuple[Piece, ...] = ()

    @property
    def capacity(self) -> float:
        """Heat capacity that takes part, J/K."""
        return sum(piece.capacity for piece in self.pieces)

    @property
    def late(self) -> float:
        """Heat capacity, J/K, that may still follow after heating: how much has warmed is in doubt then and later."""
        return math.hypot(*(p.capacity / p.warmed.value * p.warmed.standard_uncertainty for p in self.pieces)) * 2**0.5

    @property
    def mass(self) -> float:
        """Mass of the pieces that were weighed, kg."""
        return sum(piece.mass.value for piece in self.pieces if piece.title != MEASURED)


NO_VESSEL = Vessel()


def read_vessel(text: str) -> Vessel:
    """A vessel from "340 g glass", "steel, 300 g", "340 g ± 5 g glass + 120 g steel" or a measured "250 J/K ± 20 J/K".

    Raises: WrongValue, naming the materials known.
    """
    return Vessel(pieces=tuple(_read_piece(piece) for piece in _pieces(tidy(text))))


def _pieces(words: str) -> list[str]:
    """The pieces of a vessel, each "340 g glass": a material may stand before its mass, and a comma between them."""
    pieces: list[str] = []
    for part in (part for sum_ in re.split(r"\s\+\s", words) for part in parts_of(sum_)):
        alone = re.fullmatch(_MASS, part)
        if alone and pieces and re.fullmatch(_MATERIAL, pieces[-1]):
            pieces[-1] = f"{part} {pieces[-1]}"
        elif re.fullmatch(_MATERIAL, part) and pieces and re.fullmatch(_MASS, pieces[-1]):
            pieces[-1] = f"{pieces[-1]} {part}"
        elif turned := re.fullmatch(rf"({_MATERIAL}):? ({_MASS})", part):
            pieces.append(f"{turned[2]} {turned[1]}")
        else:
            pieces.append(part)
    return pieces


def _read_piece(text: str) -> Piece:
    if "J/" in text:
        capacity = read_stated(text, "joule / kelvin")
        if not 0.0 < capacity.value <= MOST_CAPACITY or (capacity.half_width or 0.0) > capacity.value:
            raise WrongValue(f"a vessel's heat capacity is above 0 and at most {MOST_CAPACITY:g} J/K, not {text!r}")
        one = StatedValue(value=1.0)
        return Piece(title=MEASURED, mass=one, specific_heat=capacity, warmed=one)
    match = _PIECE.fullmatch(text)
    if not match:
        raise WrongValue(f'write a mass and a material, such as "340 g glass", or "250 J/K", not {text!r}')
    name = match["material"].strip().lower()
    material = MATERIALS.get(_OTHER_SPELLINGS.get(name, name))
    if material is None:
        raise WrongValue(f"unknown vessel material {name!r}: {near_miss(name, MATERIALS)}")
    mass = read_stated(match["mass"], "kilogram")
    if not LIGHTEST_KG <= mass.value <= HEAVIEST_KG or (mass.half_width or 0.0) > mass.value:
        most = f"{LIGHTEST_KG * 1000.0:g} g to {HEAVIEST_KG:g} kg"
        raise WrongValue(f"a piece of a vessel weighs {most}, not {match['mass']!r}: is the unit right?")
    return Piece(
        title=name,
        mass=mass.or_half_width(0.01 * mass.value),
        specific_heat=StatedValue(value=material.specific_heat, half_width=material.half_width),
        warmed=StatedValue(value=material.warmed, half_width=material.warmed_half_width),
    )
