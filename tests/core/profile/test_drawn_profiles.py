"""Profiles and streams drawn together: whole frames are read as they were meant, damaged ones never as another.

`PYTHONPATH=.:tests python tests/fuzz/large.py dialects 10000` draws many more and prints the table.
"""

import random

import pytest
from drawn_profiles import dialect

from meterlog.base.readings import Frame
from meterlog.conversation.drive import drive, received
from meterlog.profile.compile.compiler import compiled_anew
from meterlog.profile.compile.examples import agrees, shown


def read(profile, data):
    return [r for o in drive(profile.conversation(), received(data)) if isinstance(o, Frame) for r in o.readings]


@pytest.mark.parametrize("seed", range(60))
def test_every_whole_frame_is_read_as_it_was_meant(seed):
    made, rng = dialect(seed), random.Random(seed)
    profile = compiled_anew(made.text, f"dialect {seed}")
    frames = [made.frame(rng) for _ in range(40)]
    found = read(profile, b"".join(data for data, _ in frames))
    assert [shown(r) for r, (_, truth) in zip(found, frames, strict=True) if not agrees(r, truth)] == []


@pytest.mark.parametrize("seed", range(60))
def test_a_changed_byte_is_never_read_as_another_value(seed):
    """One changed byte changes each of these checks; so what is read is what was sent, or nothing."""
    made, rng = dialect(seed), random.Random(seed)
    profile = compiled_anew(made.text, f"dialect {seed}")
    stream, truths = b"", []
    for _ in range(40):
        data, truth = made.frame(rng)
        place = rng.randrange(len(data))
        if rng.random() < 0.5:
            data = data[:place] + bytes([data[place] ^ 1 << rng.randrange(8)]) + data[place + 1 :]
        stream += data
        truths.append(truth)
    left = iter(truths)
    assert [shown(r) for r in read(profile, stream) if not any(agrees(r, truth) for truth in left)] == []
