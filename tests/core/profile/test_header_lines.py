"""A line that names the columns, damaged: the rows behind it are read as it said, or not at all."""

import pytest
from shipped_profiles import PROFILES

from meterlog.base.readings import Frame, Rejected

FIRST = b"Time,T1 (degC),T2 (degC),U (V)\n"
TURNED = b"Time,T2 (degC),T1 (degC),U (V)\n"
ROW = b"12:30:05,21.4,22.0,229.8\n"


def readings(*lines):
    conversation = PROFILES["csv-header"].conversation()
    found = [o for line in lines for o in conversation.feed(line, 0.0)] + conversation.end()
    return [(r.form.channel, r.digits) for o in found if isinstance(o, Frame) for r in o.readings]


AS_FIRST = [("T1", "21.4"), ("T2", "22.0"), ("mains", "229.8")]
AS_TURNED = [("T1", "22.0"), ("T2", "21.4"), ("mains", "229.8")]


def test_whole_lines_are_read_as_named():
    assert readings(FIRST, ROW) == AS_FIRST
    assert readings(FIRST, TURNED, ROW) == AS_TURNED


@pytest.mark.parametrize("place", range(len(TURNED) - 1))
def test_a_changed_byte_of_the_names_never_leaves_the_old_ones_in_force(place):
    for byte in {0, 0x20, 0x2C, 0x31, 0x41, 0x54, 0xFF, TURNED[place] ^ 1, TURNED[place] ^ 3} - {TURNED[place], 0x0A}:
        damaged = TURNED[:place] + bytes([byte]) + TURNED[place + 1 :]
        assert readings(FIRST, damaged, ROW) in ([], AS_TURNED)


@pytest.mark.parametrize("place", range(1, len(TURNED)))
def test_lost_bytes_of_the_names_never_leave_the_old_ones_in_force(place):
    for damaged in (TURNED[place:], TURNED[: place - 1] + TURNED[place:], TURNED[:place] + b"\n"):
        if damaged.strip():
            assert readings(FIRST, damaged, ROW) in ([], AS_TURNED)


def test_names_that_the_profile_does_not_know_end_the_old_ones():
    assert readings(FIRST, b"Time,P (W),Q (var),S (VA)\n", ROW) == []
    assert readings(FIRST, b"T1 (degC),T1 (degC),T2 (degC),U (V)\n", ROW) == []


@pytest.mark.parametrize(
    "damaged", [b"12:30:05,2!.4,22.0,229.8\n", b"12:30:05,21.4,22.0\n", b"\x80\xff\x03\n", b"0,,,\n"]
)
def test_a_damaged_row_leaves_the_names_in_force(damaged):
    assert readings(FIRST, damaged, ROW) == AS_FIRST


def test_what_came_damaged_is_told():
    conversation = PROFILES["csv-header"].conversation()
    conversation.feed(FIRST + b"Time,T2 (deg?),T1 (degC),U (V)\n", 0.0)
    (row,) = conversation.feed(ROW, 0.0)
    assert isinstance(row, Rejected)
    assert row.reason == "the line that names the columns has not come, or came damaged"
