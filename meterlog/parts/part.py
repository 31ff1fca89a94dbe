"""What a marking says: one `Part` for each way in which it can be read, the likeliest first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meterlog.parts.tolerance import Tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One reading of a marking.

    Attributes:
        value: ohm or farad.
        unit: "ohm" or "farad".
        code: the code that was read ("three digits", "RKM", "colour bands").
        source, mark: where that code comes from, and how it was seen.
        tolerance: None where the marking tells none.
        power: rated, W; None where the marking tells none.
        voltage: rated, V; None where the marking tells none. mode: "ac", "dc" or "" where it does not say.
        classes: suppression classes such as ("X1", "Y2"); run: run-capacitor classes such as ("P2", "B").
        coefficient: temperature coefficient, 1/K; None where the marking tells none.
        notes: what stays doubtful, each a sentence or clause.
        unread: pieces of the marking that were not understood.
    """

    value: float
    unit: str
    code: str
    source: str
    mark: str
    tolerance: Tolerance | None = None
    power: float | None = None
    voltage: float | None = None
    mode: str = ""
    classes: tuple[str, ...] = ()
    run: tuple[str, ...] = ()
    coefficient: float | None = None
    notes: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def band(self) -> tuple[float, float] | None:
        """(lowest, highest) value that the tolerance allows, SI; None when no tolerance is told."""
        return None if self.tolerance is None else self.tolerance.band(self.value)

    def holds(self, measured: float) -> bool:
        """Whether a measured value lies in the band, by plain comparison; without a tolerance, within 20 %."""
        low, high = self.band or (0.8 * self.value, 1.2 * self.value)
        return low <= measured <= high

    def as_dict(self) -> dict[str, Any]:
        """For JSON: SI numbers, the unit beside them."""
        tolerance = self.tolerance
        return {
            "value": self.value,
            "unit": self.unit,
            "code": self.code,
            "source": self.source,
            "mark": self.mark,
            "tolerance": tolerance and {"text": tolerance.text, "source": tolerance.source, "mark": tolerance.mark},
            "band": self.band,
            "power_W": self.power,
            "voltage_V": self.voltage,
            "mode": self.mode,
            "classes": self.classes,
            "run": self.run,
            "coefficient_per_K": self.coefficient,
            "notes": self.notes,
            "unread": self.unread,
        }
