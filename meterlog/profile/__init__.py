"""The profile language: how to talk to an instrument and what its bytes mean, as data."""

from meterlog.profile.compile.addressing import at_address
from meterlog.profile.compile.compiler import Profile, compile_profile, read_kept_profile

__all__ = ["Profile", "at_address", "compile_profile", "read_kept_profile"]
