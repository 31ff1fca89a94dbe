"""What hangs on time hangs on the times that were kept, whoever drives the conversation."""

import pytest
from shipped_profiles import PROFILES

from meterlog.base.readings import Frame, Rejected
from meterlog.base.recording import Event
from meterlog.conversation.drive import drive
from meterlog.profile.compile.compiler import compiled_anew


def outcomes(profile, *events):
    return list(drive(profile.conversation(), [Event(at, kind, data) for at, kind, data in events]))


def shown(found):
    return [f"{r.digits} {r.form.unit}" for o in found if isinstance(o, Frame) for r in o.readings]


def reasons(found):
    return [o.reason for o in found if isinstance(o, Rejected)]


@pytest.mark.parametrize("gap", ["0.5 s", "0.2 s", "0.3 s"])
def test_a_message_cut_short_ends_at_every_time_it_may_begin(gap):
    """In floats (t + gap) - t is less than gap for 1 to 42 of a hundred times."""
    profile = compiled_anew(
        f"profile: g\ntitle: G\nframe: {{end: <LF>, gap: {gap}}}\ntext: '{{v}}'\nreadings: [{{value: v, unit: V}}]\n",
        "g",
    )
    for ms in range(0, 60_000, 7):
        at = ms / 1000
        conversation = profile.conversation()
        conversation.feed(b"12", at)
        assert [o.raw for o in conversation.poll(conversation.wake_at)[1]] == [b"12"]
        assert conversation.wake_at is None


def test_a_number_is_not_read_by_a_function_that_nobody_has_confirmed():
    """The dial goes from ohms to volts; the question for the function is not answered."""
    found = outcomes(
        PROFILES["scpi-multimeter"],
        (0.2, "out", b"CONF?\n"), (0.3, "in", b'"RES +1.0E+03,+1.0E-03"\n'),
        (0.3, "out", b"READ?\n"), (0.4, "in", b"+4.70000000E+01\n"),
        (1.2, "out", b"CONF?\n"), (5.3, "out", b"READ?\n"), (5.4, "in", b"+1.23000000E+01\n"),
    )  # fmt: skip
    assert shown(found) == ["47.0000000 ohm"]
    assert reasons(found) == ["no answer to CONF?", "nothing has told function yet"]


def test_frames_parted_by_silence_are_parted_by_the_times_that_were_kept():
    profile = compiled_anew(
        "profile: s\ntitle: S\nframe: {silence: 20 ms}\nreadings: [{bytes: 0..1, as: u16 big, unit: V}]\n", "s"
    )
    found = outcomes(profile, *((place / 2, "in", bytes([0, place])) for place in range(6)))
    assert shown(found) == [f"{place} V" for place in range(6)]


def test_what_came_before_a_request_is_no_answer_to_it():
    profile = compiled_anew(
        "profile: a\ntitle: A\nask: {requests: [V<CR>]}\nframe: {end: <CR>}\ntext: '{v}'\n"
        "readings: [{value: v, unit: V}]\n",
        "a",
    )
    found = outcomes(profile, (0.0, "in", b"\xfe9"), (0.1, "out", b"V\r"), (0.2, "in", b"12.5\r"))
    assert [(type(o), o.raw) for o in found] == [(Rejected, b"\xfe9"), (Frame, b"12.5\r")]


def test_while_a_message_comes_in_nothing_is_asked():
    conversation = PROFILES["modbus-rtu"].conversation()
    conversation.feed(b"\x11", 0.0)
    assert conversation.poll(0.01) == ([], [])
    assert len(conversation.poll(conversation.wake_at)[0]) == 1


def test_looking_at_the_clock_more_often_or_less_changes_nothing():
    events = [(0.0, b"T=+02"), (0.6, b"3.5C\r\nT=+023.5C\r\nT="), (1.05, b"+024.0C\r"), (1.54, b"\n")]
    told = []
    for step in (None, 0.01, 0.1, 0.37):
        conversation, found, now = PROFILES["ascii-thermometer"].conversation(), [], 0.0
        for at, data in events:
            while step and now < at:
                found += conversation.poll(now)[1]
                now += step
            found += conversation.feed(data, at)
        told.append([(type(o), o.raw, o.at) for o in found + conversation.end()])
    assert told[0] == told[1] == told[2] == told[3]


def test_only_the_driver_drives(tmp_path):
    """A second driver would come to other readings sooner or later."""
    import ast

    import meterlog

    root = tmp_path.__class__(meterlog.__file__).parent
    found = set()
    for path in (path for path in root.rglob("*.py") if path.parent.name not in ("links", "demo", "workshop")):
        for node in ast.walk(ast.parse(path.read_text())):
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Attribute) and called.attr in ("feed", "poll"):
                found.add(str(path.relative_to(root)))
    assert found == {"conversation/drive.py", "conversation/stream.py"}
