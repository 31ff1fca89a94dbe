"""A profile proposed from unknown bytes and what the display showed: no reading is proposed that no note has shown."""

from meterlog.profile.propose.lesson import Lesson, Standing
from meterlog.profile.propose.notes import DisplayNote, parse_shows, read_notes
from meterlog.profile.propose.proposal import Proposal
from meterlog.profile.propose.propose import propose

__all__ = ["DisplayNote", "Lesson", "Proposal", "Standing", "parse_shows", "propose", "read_notes"]
