"""Which check next, and what healthy ones read: suggestions that never enter a verdict.

A procedure may carry faults with weights for each complaint. From them and the outcomes so far follows which check
tells most for its minutes, and when more measuring is not worth it.
"""

from meterlog.diagnosis.belief import Belief
from meterlog.diagnosis.model import Model, ModelledCheck, ModelledFault, SuspectPart
from meterlog.diagnosis.suggestion import Suggestion, suggest

__all__ = ["Belief", "Model", "ModelledCheck", "ModelledFault", "Suggestion", "SuspectPart", "suggest"]
