"""Every recording that names a shipped profile is read by it from beginning to end."""

from pathlib import Path

import pytest

from meterlog.base import recording
from meterlog.base.readings import Frame, Rejected
from meterlog.conversation.drive import drive
from meterlog.profile import compile_profile

CHECKOUT = Path(__file__).parents[3]
INSTRUMENTS = CHECKOUT / "profiles" / "instruments"
NAMES = sorted(path.stem for path in INSTRUMENTS.glob("*.yaml"))
NOT_BELIEVED = {"ascii-thermometer": 1, "csv-header": 1, "modbus-rtu": 1}
"""Frames in a recording that must be rejected: the beginnings that were missed, and a device that was busy."""


@pytest.mark.parametrize("name", NAMES)
def test_each_profile_has_a_recording_that_it_reads(name):
    path = CHECKOUT / "sample_captures" / f"{name}.txt"
    taken = recording.parse(path.read_text(), path.name)
    profile = compile_profile((INSTRUMENTS / f"{name}.yaml").read_text(), name)
    found = list(drive(profile.conversation(), taken.events))
    assert taken.head["profile"] == name
    assert b"".join(o.raw for o in found) == taken.received
    assert sum(len(o.readings) for o in found if isinstance(o, Frame)) >= 10
    assert sum(isinstance(o, Rejected) for o in found) == NOT_BELIEVED.get(name, 0)
