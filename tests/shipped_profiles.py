"""The shipped protocol profiles, compiled once for all tests."""

from pathlib import Path

from meterlog.profile import compile_profile

FOLDER = Path(__file__).parents[1] / "profiles" / "instruments"
PROFILES = {path.stem: compile_profile(path.read_text(), path.name) for path in sorted(FOLDER.glob("*.yaml"))}
