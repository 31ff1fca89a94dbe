"""The walk: steps of a procedure answered hands-free by readings, or by acts, in any order."""

from meterlog.walk.acts import WORDS, Act, is_act, parse_act
from meterlog.walk.course import NOTHING, REPLAY, Assume, Phase
from meterlog.walk.happenings import Happening
from meterlog.walk.ledger import Ledger
from meterlog.walk.walk import Walk

__all__ = ["NOTHING", "REPLAY", "WORDS", "Act", "Assume", "Happening", "Ledger", "Phase", "Walk", "is_act", "parse_act"]
