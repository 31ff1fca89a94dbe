"""The profile language: how to talk to an instrument and what its bytes mean, as data."""

from meterlog.profile.compiler import Profile, compile_profile

__all__ = ["Profile", "compile_profile"]
