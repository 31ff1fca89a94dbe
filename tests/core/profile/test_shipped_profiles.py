"""Every shipped profile compiles, and what holds for all of them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped_profiles import PROFILES
from strategies import noise, splits

from meterlog.base.readings import Skipped

every_profile = pytest.mark.parametrize("key", PROFILES)


def outcomes(profile, pieces):
    """Outcomes without their times, neighbouring skipped bytes told as one."""
    conversation = profile.conversation()
    found = [o for piece in pieces for o in conversation.feed(piece, 0.0)] + conversation.end()
    told = []
    for o in found:
        if isinstance(o, Skipped) and told and isinstance(told[-1], Skipped):
            told[-1] = Skipped(told[-1].start, told[-1].raw + o.raw, 0.0)
        else:
            told.append(o)
    return told


def streams(profile):
    """Example frames between noise."""
    frames = st.sampled_from([example.frame for example in profile.said.examples])
    return st.lists(st.one_of(frames, noise()), max_size=8).map(b"".join)


@every_profile
def test_it_is_called_as_its_file(key):
    assert PROFILES[key].key == key


@every_profile
def test_it_has_title_licence_source_and_examples(key):
    said = PROFILES[key].said
    assert said.title
    assert said.licence
    assert said.source
    assert said.examples


@every_profile
@settings(deadline=None)
@given(data=st.data())
def test_every_byte_is_accounted_for(key, data):
    stream = data.draw(streams(PROFILES[key]))
    found = outcomes(PROFILES[key], [stream])
    assert b"".join(o.raw for o in found) == stream
    assert [o.start for o in found] == [sum(len(o.raw) for o in found[:i]) for i in range(len(found))]


@every_profile
@settings(deadline=None)
@given(data=st.data())
def test_how_bytes_are_split_changes_nothing(key, data):
    stream = data.draw(streams(PROFILES[key]))
    assert outcomes(PROFILES[key], data.draw(splits(stream))) == outcomes(PROFILES[key], [stream])
