"""Tones and speech: what the bench says to someone whose hands and eyes are busy."""

from meterlog.sounds.bench import Sounds, of_this_machine
from meterlog.sounds.sentences import Catalogue, catalogue, languages

__all__ = ["Catalogue", "Sounds", "catalogue", "languages", "of_this_machine"]
