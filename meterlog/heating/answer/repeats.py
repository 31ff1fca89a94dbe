"""Repeated runs of one load: their mean, and their spread in place of what the spread already shows."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import fmean, stdev
from typing import TYPE_CHECKING

from meterlog.base.uncertainty import Error, Estimate, estimate
from meterlog.heating.answer.judged import useful_of
from meterlog.heating.run import NO_PLATE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.uncertainty import BudgetLine
    from meterlog.heating.answer.judged import Plate
    from meterlog.heating.answer.result import HeatingResult

OWN = (
    "scatter", "display step", "mixing", "slope of the ramp", "the ramp is not straight", "start of", "stop of heating",
    "lag against", "pauses",
)  # fmt: skip
"""Parts of a budget that are each run's own, and so seen in the spread of several."""


def pooled_number(powers: Sequence[float], shared: Sequence[BudgetLine]) -> Estimate:
    """The mean of repeated powers, W, with their spread (n - 1 degrees of freedom) and the errors they share.

    Source: JCGM 100:2008, 4.2.3 (mean of repeats) and 5.1.2; what the spread shows is not counted twice.
    """
    spread = Error(
        name="spread of the runs", standard_uncertainty=stdev(powers) / math.sqrt(len(powers)),
        distribution="readings", degrees_of_freedom=float(len(powers) - 1), source=f"{len(powers)} runs",
    )  # fmt: skip
    errors = [
        Error(
            name=line.name, standard_uncertainty=line.contribution, distribution=line.distribution,
            degrees_of_freedom=line.degrees_of_freedom or math.inf, source=line.source,
        )
        for line in shared
    ]  # fmt: skip
    return estimate(fmean(powers), spread, *errors)


def pooled(runs: Sequence[HeatingResult], plate: Plate = NO_PLATE) -> HeatingResult:
    """The first run's answer with the pooled power of all; the refused are left out, and told.

    One alone is answered as it is: without repeats there is no spread to claim.
    """
    told = [(run, run.useful) for run in runs if run.useful is not None]
    if len(told) < 2:
        return told[0][0] if told else runs[0]
    (first, useful), powers = told[0], [each.watts for _, each in told]
    shared = [line for line in useful.budget if not line.name.startswith(OWN)]
    clock_mean = fmean(each.clock_mean for _, each in told)
    return replace(
        first,
        useful=useful_of(
            pooled_number(powers, shared), clock_mean, (*useful.verdict.trail, f"mean of {len(powers)} runs"), plate,
            first.electrical, first.unstated,
        ),
        repeats=tuple(powers),
        refused=(*first.refused, *(part for run in runs if run.useful is None for part in run.refused)),
    )  # fmt: skip
