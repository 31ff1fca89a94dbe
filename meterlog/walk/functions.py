"""Tells, once, that an instrument stands on another function than the step wants."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.walk.settle import OpenLeads

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.base.readings import Form
    from meterlog.procedure.steps import Step
    from meterlog.walk.settle import Want

READINGS = 2
"""A dial on its way passes over functions: one that stays for so many readings is meant."""
DIALLED = frozenset(
    {"resistance", "continuity", "insulation_resistance", "junction_voltage", "capacitance", "inductance", "voltage",
     "current", "frequency", "duty"}
)  # fmt: skip
"""What has a place on a multimeter's dial: an instrument that shows another quantity has no dial to turn."""


class FunctionWatch:
    """For one step: which instruments show what, and whether that was told.

    `gives` says which quantities each instrument can show, as far as known. A thermometer is never
    told to turn to ohms, unless the step names it.
    """

    def __init__(self, step: Step, want: Want, gives: Mapping[str, frozenset[str]]) -> None:
        self._step, self._want, self._gives = step, want, gives
        self._fits: dict[tuple[str, str], bool] = {}
        self._counts: dict[str, int] = {}
        self._told: set[tuple[str, str]] = set()

    def take(self, source: str, form: Form) -> bool:
        """Whether this reading makes it time to tell that the instrument shows another function."""
        fits = self._want.matches(form)
        self._fits[source, form.channel] = fits
        if fits:
            self._counts[source] = 0
            if self._told:
                self._told = {told for told in self._told if told[0] != source}
            return False
        if any(self._fits.values()) or not self._is_meant(source, form):
            return False
        self._counts[source] = self._counts.get(source, 0) + 1
        if self._counts[source] < READINGS or (source, form.quantity) in self._told:
            return False
        self._told.add((source, form.quantity))
        return True

    def _is_meant(self, source: str, form: Form) -> bool:
        if self._step.instrument and self._step.instrument != source:
            return False
        if self._want.open_leads is OpenLeads.IDLE and form.quantity == "voltage":
            return False  # an insulation tester at rest shows the voltage at its terminals
        known = self._gives.get(source)
        could = (
            self._want.quantity in known
            if known is not None
            else form.quantity in DIALLED or bool(self._step.instrument)
        )
        return form.channel == "main" and could
