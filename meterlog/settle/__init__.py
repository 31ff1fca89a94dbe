"""Readings of one link to settled runs: sorting what the leads are on, the window, the states."""

from meterlog.settle.contact import LIFT_S, Lift, OpenLeads, Sort, Stream, Want, want_of
from meterlog.settle.settler import (
    BOUND_HELD_S,
    NOT_TAKEN_S,
    Answer,
    Froze,
    Lost,
    Settled,
    Settler,
    Signal,
    Stage,
    State,
    Touched,
)
from meterlog.settle.window import CRITERIA, Criterion, Held, Pace, Sample, Window, capture_of, criterion_for

__all__ = [
    "BOUND_HELD_S",
    "CRITERIA",
    "LIFT_S",
    "NOT_TAKEN_S",
    "Answer",
    "Criterion",
    "Froze",
    "Held",
    "Lift",
    "Lost",
    "OpenLeads",
    "Pace",
    "Sample",
    "Settled",
    "Settler",
    "Signal",
    "Sort",
    "Stage",
    "State",
    "Stream",
    "Touched",
    "Want",
    "Window",
    "capture_of",
    "criterion_for",
    "want_of",
]
