"""Damage on the line: what is proved by a check is never read wrong, and step is found again."""

import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped_profiles import PROFILES
from strategies import noise

from meterlog.base.readings import Frame
from meterlog.profile import compile_profile
from meterlog.profile.compile.examples import heard

CHECKED = [
    key
    for key, profile in PROFILES.items()
    if profile.said.checks and profile.said.checks[0].kind.lower().startswith(("crc", "sum-16"))
]
STEADY = [key for key, profile in PROFILES.items() if profile.steady and not profile.said.modbus]


def good(profile):
    return [example for example in profile.said.examples if example.shows and example.shows != ("nothing",)]


def readings(conversation, data):
    return [reading for o in conversation.feed(data, 0.0) if isinstance(o, Frame) for reading in o.readings]


@pytest.mark.parametrize("key", CHECKED)
@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_a_check_lets_no_wrong_reading_through(key, data):
    profile = PROFILES[key]
    known, stream = set(), b""
    for example in data.draw(st.lists(st.sampled_from(good(profile)), min_size=1, max_size=5)):
        known |= set(readings_of(profile, example))
        stream += damaged(data.draw, example.frame)
    conversation = profile.conversation()
    if good(profile)[0].request:
        conversation.sent(good(profile)[0].request, 0.0)
    assert set(readings(conversation, stream)) <= known | everything(profile)


def everything(profile):
    """Readings of any example: an answer to one request may be asked for by another."""
    return {reading for example in good(profile) for reading in readings_of(profile, example)}


def readings_of(profile, example):
    found = heard(example, profile.conversation(), example.frame)
    return [reading for o in found if isinstance(o, Frame) for reading in o.readings]


def damaged(draw, frame):
    """The frame, or it with noise before, a byte changed, dropped or doubled, or cut short."""
    place = draw(st.integers(0, len(frame) - 1))
    kind = draw(st.sampled_from(["whole", "noise", "changed", "dropped", "doubled", "cut"]))
    byte = bytes([draw(st.integers(0, 255))])
    return {
        "whole": frame,
        "noise": draw(noise()) + frame,
        "changed": frame[:place] + byte + frame[place + 1 :],
        "dropped": frame[:place] + frame[place + 1 :],
        "doubled": frame[: place + 1] + frame[place:],
        "cut": frame[:place],
    }[kind]


@pytest.mark.parametrize("key", STEADY)
@settings(max_examples=60, deadline=None)
@given(garbage=noise(200))
def test_step_is_found_again_within_two_frames(key, garbage):
    profile = PROFILES[key]
    example = good(profile)[0]
    if profile.said.stream:
        garbage = garbage[: len(garbage) // 8 * 8]  # the cable itself keeps its reports whole
    conversation = profile.conversation()
    conversation.feed(garbage, 0.0)
    found = [readings(conversation, example.frame) for _ in range(4)]
    assert found[-1] == readings_of(profile, example)
    assert found[-2] == readings_of(profile, example)


@pytest.mark.parametrize("key", PROFILES)
def test_memory_is_bounded_whatever_comes(key):
    conversation = PROFILES[key].conversation()
    block = b"".join(zlib.crc32(bytes([a, b])).to_bytes(4, "big") for a in range(64) for b in range(64))
    for _ in range(8):
        conversation.feed(block, 0.0)
        assert len(conversation._stream.rest) <= 8192
        assert len(conversation._stream._raw) <= 8192
        assert len(conversation._memo) <= 4096


LINES = {
    "holes between blanks": ('text: "{_} {_} {_} {_} {_} {_} {v} V"', b" " * 500),
    "holes between words": ('text: "{_}ab{_}ab{_}ab{_}ab{v}"', b"ab" * 250),
    "numbers between blanks": (
        'text: "{a} {b} {c} {v} V"\nfields: {a: {as: decimal}, b: {as: decimal}, c: {as: decimal}}',
        (b"1" + b" " * 99) * 5,
    ),
    "a pattern of stars": ("pattern: '((a*)*)*(?P<v>b)'", b"a" * 500),
}


@pytest.mark.parametrize("name", LINES)
def test_no_line_keeps_a_profile_busy(name):
    how, line = LINES[name]
    text = f"profile: busy\ntitle: Busy\nframe: {{end: <LF>}}\n{how}\nreadings: [{{value: v, unit: V}}]\n"
    profile = compile_profile(text, name)
    (found,) = profile.conversation().feed(line + b"\n", 0.0)
    assert found.reason.startswith("does not look like")
