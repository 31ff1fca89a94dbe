"""The walk: steps of a procedure answered hands-free by readings, or by acts, in any order."""

from meterlog.walk.acts import WORDS, Act, is_act, parse_act
from meterlog.walk.course import NOTHING, REPLAY, Assume
from meterlog.walk.happenings import Happening
from meterlog.walk.ledger import Ledger
from meterlog.walk.phases import PHASES, Phase
from meterlog.walk.snapshot import Snapshot
from meterlog.walk.walk import Walk

__all__ = [
    "NOTHING",
    "PHASES",
    "REPLAY",
    "WORDS",
    "Act",
    "Assume",
    "Happening",
    "Ledger",
    "Phase",
    "Snapshot",
    "Walk",
    "is_act",
    "parse_act",
]
