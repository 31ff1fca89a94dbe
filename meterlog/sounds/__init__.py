"""Tones and speech: what the bench says to someone whose hands and eyes are busy."""
