"""What a heating run found: power with its budget, the periods, what was corrected and what was refused."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.units import show
from meterlog.heating.answer.unstated import Unstated
from meterlog.heating.balance.find import load_names

if TYPE_CHECKING:
    from meterlog.base.uncertainty import BudgetLine, Estimate
    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.times.cycling import Cycling
    from meterlog.heating.times.heating import Heating, WarmUp
    from meterlog.heating.trace.columns import HeatingTrace
    from meterlog.heating.trace.periods import NotFound
    from meterlog.judging import Verdict


KNOWN = Unstated()


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
class Useful:
    """The power that a run tells, once its uncertainty and its verdict are known.

    Attributes:
        number: useful power at full output, W, as an estimate that carries its errors.
        watts, standard_uncertainty, expanded_uncertainty: of it, W; the interval ±U covers 95.45 %.
        clock_mean: the mean from switching on to switching off, W.
        degrees_of_freedom: effective; None when no readings limit them.
        budget: the largest contribution first.
        verdict: against the plate, by the decision rules of every other check.
    """

    number: Estimate
    watts: float
    standard_uncertainty: float
    expanded_uncertainty: float
    coverage_factor: float
    degrees_of_freedom: float | None
    clock_mean: float
    budget: tuple[BudgetLine, ...]
    improvements: tuple[Improvement, ...]
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatingResult:
    """The answer of a heating run; `useful` is None when it was refused, and `refused` says why.

    Attributes:
        method, definition: what the number means, in words.
        heating, warm_up: when the load was heated, and how long the appliance took to full power.
        founds: temperatures at the ends, periods, exchange of each load; none when it was refused.
        energy: useful heat, J.
        refused: why there is no power, or what was tried and not done on the way to it.
        unstated: why the power may be more, or less, than was found.
        compared: which power the plate is held against, and why.
        repeats: the power of each run, W, where several were pooled.
    """

    method: str
    definition: str
    trace: HeatingTrace
    heating: Heating | None = None
    warm_up: WarmUp | None = None
    founds: tuple[LoadBalance, ...] = ()
    useful: Useful | None = None
    energy: float | None = None
    applied: tuple[Correction, ...] = ()
    refused: tuple[NotFound, ...] = ()
    beside: tuple[Beside, ...] = ()
    electrical: Electrical | None = None
    cycling: Cycling | None = None
    unstated: Unstated = KNOWN
    compared: str = ""
    repeats: tuple[float, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def power(self) -> float | None:
        """Useful power at full output, W; None when it was refused."""
        return self.useful.watts if self.useful else None

    @property
    def verdict(self) -> Verdict | None:
        """Against the plate; None when it was refused."""
        return self.useful.verdict if self.useful else None

    def loads(self) -> tuple[tuple[str, LoadBalance], ...]:
        """What was found of each load, with its name; none when the run was refused."""
        return tuple(zip(load_names(len(self.founds)), self.founds, strict=True)) if self.founds else ()
