"""When an open link counts as silent."""

import pytest

from meterlog.daemon.link_states import MessagePace


@pytest.mark.parametrize(
    ("pauses", "silent_after_s"),
    [
        ([], 5.0),
        ([0.25] * 30, 5.0),
        ([10.0], 5.0),  # one pause is no habit yet
        ([10.0, 10.0], 30.0),
        ([0.01, 10.0] * 5, 30.0),  # a frame may come in two pieces
        ([10.0] * 5 + [600.0], 30.0),  # switched off once
        ([10.0] * 30 + [0.25] * 20, 5.0),  # its pace was changed
    ],
)
def test_silence_is_three_times_the_usual_pause(pauses, silent_after_s):
    pace = MessagePace()
    for pause in pauses:
        pace.heard_after(pause)
    assert pace.silent_after_s == silent_after_s
