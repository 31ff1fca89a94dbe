"""The kinds of steps, one file each. A new one is a file here, its row in the manual and its test; how a link is
watched for it is one of `Watched`, and a new way of watching stands in `meterlog.walk.answers`.
"""

from __future__ import annotations

from meterlog.procedure.kinds.at_time import AT_TIME
from meterlog.procedure.kinds.dead import DEAD
from meterlog.procedure.kinds.derived import DERIVED
from meterlog.procedure.kinds.heating_run import HEATING_RUN
from meterlog.procedure.kinds.kind import Kind, Opens, Watched
from meterlog.procedure.kinds.leads import LEADS
from meterlog.procedure.kinds.look import LOOK
from meterlog.procedure.kinds.measure import MEASURE
from meterlog.procedure.kinds.open import OPEN
from meterlog.procedure.kinds.timed import TIMED

KINDS = {kind.name: kind for kind in (LOOK, LEADS, DEAD, MEASURE, OPEN, AT_TIME, TIMED, HEATING_RUN, DERIVED)}
"""By the word that a procedure and the record write."""

__all__ = ["KINDS", "Kind", "Opens", "Watched"]
