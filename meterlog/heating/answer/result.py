"""What a heating run found: power with its budget, the periods, what was corrected and what was refused."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from meterlog.base.units import show

if TYPE_CHECKING:
    from meterlog.base.uncertainty import Estimate, Line
    from meterlog.heating.balance.found import Found
    from meterlog.heating.times.cycling import Cycling
    from meterlog.heating.times.heating import Heating
    from meterlog.heating.trace.columns import Trace
    from meterlog.heating.trace.periods import Refused
    from meterlog.judging import Verdict


VESSELS = ("first vessel", "second vessel")
"""What two loads heated together are called."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One correction made: what for, what it adds to the power, W, and the numbers it comes from."""

    what: str
    watts: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """The power by another method, W, with what that method leaves out."""

    method: str
    watts: float
    leaves_out: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Improvement:
    """What would help: U now and what it would become, W."""

    what: str
    expanded_now: float
    expanded_then: float

    def __str__(self) -> str:
        return f"{self.what}: ± {show(self.expanded_now, 'watt', 2)} becomes ± {show(self.expanded_then, 'watt', 2)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Electrical:
    """What went in by the mains, where power was logged.

    Attributes:
        energy: J from start to stop; mean_power: over that time, W.
        on_power: mean while energised, W.
        efficiency: useful over electrical energy, and its standard uncertainty (the power meter's own not counted).
    """

    energy: float
    mean_power: float
    on_power: float
    efficiency: float | None
    u_efficiency: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatingResult:
    """The answer of a heating run; `power` is None when it was refused, and `refused` says why.

    Attributes:
        power, standard_uncertainty, expanded_uncertainty: W; the interval ±U covers 95.45 %.
        degrees_of_freedom: effective; None when no readings limit them.
        method, definition: what the number means, in words.
        energy: useful heat, J.
        budget: the largest contribution first.
        number: the power as an estimate that carries its errors, for what is computed from it.
        found: temperatures at the ends, periods, exchange; None when it was refused.
        second: the same of the second vessel, where two were heated together.
        repeats: the power of each run, W, where several were pooled.
        verdict: against the plate, by the decision rules of every other check.
    """

    method: str
    definition: str
    trace: Trace
    power: float | None = None
    standard_uncertainty: float | None = None
    expanded_uncertainty: float | None = None
    coverage_factor: float | None = None
    degrees_of_freedom: float | None = None
    energy: float | None = None
    budget: tuple[Line, ...] = ()
    number: Estimate | None = None
    heating: Heating | None = None
    found: Found | None = None
    second: Found | None = None
    applied: tuple[Correction, ...] = ()
    refused: tuple[Refused, ...] = ()
    beside: tuple[Beside, ...] = ()
    improvements: tuple[Improvement, ...] = ()
    electrical: Electrical | None = None
    cycling: Cycling | None = None
    repeats: tuple[float, ...] = ()
    verdict: Verdict | None = None
    notes: tuple[str, ...] = field(default=())

    def loads(self) -> tuple[tuple[str, Found], ...]:
        """What was found of each load, with its name; none when the run was refused."""
        if self.found is None:
            return ()
        if self.second is None:
            return (("load", self.found),)
        return tuple(zip(VESSELS, (self.found, self.second), strict=True))
