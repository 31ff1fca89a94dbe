"""Tones and speech: what the bench says to someone whose hands and eyes are busy."""

from meterlog.sounds.sentences import Catalogue, catalogue, languages
from meterlog.sounds.spoken import Sounds, of_this_machine

__all__ = ["Catalogue", "Sounds", "catalogue", "languages", "of_this_machine"]
