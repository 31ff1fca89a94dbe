"""The kinds of steps, one file each. A new one is a file here, its word in `StepKind`, what watches a link for it in
`walk.answers`, its row in the manual and its test: the type checker names each that is missing.
"""

from __future__ import annotations

from typing import assert_never

from meterlog.procedure.kinds.at_time import AT_TIME
from meterlog.procedure.kinds.dead import DEAD
from meterlog.procedure.kinds.derived import DERIVED
from meterlog.procedure.kinds.heating import HEATING
from meterlog.procedure.kinds.kind import Kind, Opens
from meterlog.procedure.kinds.leads import LEADS
from meterlog.procedure.kinds.look import LOOK
from meterlog.procedure.kinds.measure import MEASURE
from meterlog.procedure.kinds.open import OPEN
from meterlog.procedure.kinds.timed import TIMED
from meterlog.procedure.steps import StepKind


def kind_of(kind: StepKind) -> Kind:
    """All that a kind of step is."""
    match kind:
        case StepKind.LOOK:
            return LOOK
        case StepKind.LEADS:
            return LEADS
        case StepKind.DEAD:
            return DEAD
        case StepKind.MEASURE:
            return MEASURE
        case StepKind.OPEN:
            return OPEN
        case StepKind.AT_TIME:
            return AT_TIME
        case StepKind.TIMED:
            return TIMED
        case StepKind.HEATING:
            return HEATING
        case StepKind.DERIVED:
            return DERIVED
        case _:
            assert_never(kind)


__all__ = ["Kind", "Opens", "kind_of"]
