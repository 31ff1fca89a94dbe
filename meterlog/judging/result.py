"""A result on its way to a verdict: a value or a bound, its errors, and the arithmetic so far."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import Estimate, nominal, standard_uncertainty
from meterlog.base.units import QUANTITIES, show, show_in

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.judging.limit import Limit

YEAR_S = 365.25 * 86400.0
NOT_PROVED = "The circuit reads open, but the leads were not proved before and after: the probes may have been off."
PROVE = "Prove it open: leads pressed together, on the points, together again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What is known around a capture.

    Attributes:
        ambient_k: temperature at the instrument, K.
        calibration_age_s: time since the instrument was calibrated, s; None where not known.
        calibration_interval_s: for how long a calibration is believed, s.
        correlation: between successive readings, 0 to 1; 1 (wholly) until someone has found it.
        where: the jurisdiction whose limits apply, "" for those that name none.
        in_circuit: parts in parallel were not disconnected.
        required: probability that the rule "probability of conformity" asks for.
        guard: guard band over expanded uncertainty, 1 for w = U.
        entries: what the rating plate and the person told, by name, the ends in SI; a limit may be a part of one.
    """

    ambient_k: float | None = None
    calibration_age_s: float | None = None
    calibration_interval_s: float = YEAR_S
    correlation: float = 1.0
    where: str = ""
    in_circuit: bool = False
    required: float = 0.95
    guard: float = 1.0
    entries: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A value with its errors, or a bound of one, in SI.

    Attributes:
        quantity: a name of `units.QUANTITIES`.
        number: the value, or the edge that the truth lies beyond; None when nothing was found.
        bound: "above" or "below" when `number` is an edge.
        trail: the arithmetic, line by line, with the numbers in.
        doubts: what limits its worth, each a sentence ("The accuracy of the instrument is not known: …").
        excess: it may read too high by up to this much (leads that were not nulled), SI.
        limit: the limit that the method itself gives (a band around a marking), None when it gives none.
        reason: why nothing was found, a sentence; "" otherwise.
        advice: what would make it better.
        is_unproved: it rests on an open circuit whose leads were not proved: it may fail, and passes nothing.
    """

    quantity: str
    number: Estimate | None = None
    bound: str = ""
    trail: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    excess: float = 0.0
    limit: Limit | None = None
    reason: str = ""
    advice: str = ""
    is_unproved: bool = False

    @property
    def unit(self) -> str:
        return QUANTITIES[self.quantity].si

    @property
    def value(self) -> float | None:
        """The value, None for a bound or when nothing was found."""
        return None if self.bound or self.number is None else nominal(self.number)

    @property
    def edge(self) -> float | None:
        """The edge of a bound, None otherwise."""
        return nominal(self.number) if self.bound and self.number is not None else None

    @property
    def u(self) -> float:
        """Combined standard uncertainty of the value or of the edge."""
        return 0.0 if self.number is None else standard_uncertainty(self.number)

    def __str__(self) -> str:
        if self.number is None:
            return "no value"
        sign = {"above": "> ", "below": "< "}.get(self.bound, "")
        return sign + show(nominal(self.number), self.unit, digits=6)


def width(amount: float, si: str, digits: int = 2, unit: str = "") -> str:
    """An amount of error for a person: like a value, but of a temperature in K; in `unit` where it reads well in it."""
    return show_in(amount, "delta_degC" if si == "kelvin" else si, unit, digits)


def nothing(quantity: str, reason: str, *parts: Result, advice: str = "") -> Result:
    """No result, and why."""
    unproved = any(part.is_unproved for part in parts)
    return Result(
        quantity=quantity,
        reason=reason,
        advice=advice,
        trail=trails(parts),
        doubts=doubts(parts),
        is_unproved=unproved,
    )


def trails(parts: Sequence[Result]) -> tuple[str, ...]:
    """The arithmetic of several results, in order; a step (a line and those indented below it) stands once."""
    steps: list[list[str]] = []
    for part in parts:
        for line in part.trail:
            if line.startswith(" ") and steps:
                steps[-1].append(line)
            else:
                steps.append([line])
    return tuple(line for step in dict.fromkeys(map(tuple, steps)) for line in step)


def doubts(parts: Sequence[Result]) -> tuple[str, ...]:
    """The doubts of several results, each once."""
    return tuple(dict.fromkeys(doubt for part in parts for doubt in part.doubts))
