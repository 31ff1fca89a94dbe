"""A stretch decoded at once is the stretch decoded frame by frame."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped_profiles import PROFILES
from strategies import noise

from meterlog.base.readings import Frame
from meterlog.conversation.drive import drive, received
from meterlog.profile.tools.bulk import decode_bulk


def singly(profile, data):
    found = [o for o in drive(profile.conversation(), received(data)) if isinstance(o, Frame)]
    return [(o.start, reading.form, reading.counts) for o in found for reading in o.readings]


def at_once(profile, data):
    bulk = decode_bulk(profile, received(data))
    return [
        (int(start), bulk.forms[form], int(counts) if has else None)
        for start, form, counts, has in zip(bulk.start, bulk.form, bulk.counts, bulk.has_counts, strict=True)
    ]


@pytest.mark.parametrize("key", PROFILES)
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_at_once_is_one_by_one(key, data):
    frames = st.sampled_from([example.frame for example in PROFILES[key].said.examples])
    only_frames = data.draw(st.booleans())
    stream = b"".join(data.draw(st.lists(frames if only_frames else st.one_of(frames, noise()), max_size=12)))
    assert at_once(PROFILES[key], stream) == singly(PROFILES[key], stream)
