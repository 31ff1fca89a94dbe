"""One profile at several addresses, and several addresses in one profile."""

import pytest
from players.modbus import with_crc
from shipped_profiles import PROFILES

from meterlog.base.readings import Frame, Rejected
from meterlog.profile import at_address
from meterlog.profile.compile.compiler import compiled_anew

LINE = """\
profile: addressed
title: Asked by its address
address: "01"   # set by its switches
ask: {requests: ["#{address}R<CR>", "hex 23 02 {address}"]}
frame: {start: ">", end: <CR>}
text: ">{address}{value}"
examples:
  - {request: "#01R<CR>", frame: ">01+21.5<CR>",
     shows: 21.5 degC}
# what it reads
readings:
  - {value: value, unit: degC}
"""


def test_the_address_stands_in_every_text():
    profile = compiled_anew(LINE, "line")
    assert [question.data for question in profile.questions[1]] == [b"#01R\r", b"\x23\x02\x01"]


def test_a_text_at_another_address_keeps_all_but_the_examples():
    text = at_address(LINE, "line", "7A")
    assert text == (
        'profile: addressed\ntitle: Asked by its address\naddress: "7A"   # set by its switches\n'
        'ask: {requests: ["#{address}R<CR>", "hex 23 02 {address}"]}\nframe: {start: ">", end: <CR>}\n'
        'text: ">{address}{value}"\nreadings:\n  - {value: value, unit: degC}\n'
    )
    conversation = compiled_anew(text, "line").conversation()
    (request,), _ = conversation.poll(0.0)
    assert request == b"#7AR\r"
    conversation.sent(request, 0.0)
    (frame,) = conversation.feed(b">7A+21.5\r", 0.1)
    assert frame.readings[0].digits == "21.5"
    (other,) = conversation.feed(b">01+21.5\r", 0.2)
    assert isinstance(other, Rejected)


def test_its_own_address_changes_nothing():
    assert at_address(LINE, "line", "01") == LINE


@pytest.mark.parametrize(
    ("text", "address", "hint"),
    [
        (LINE, "7", "as many characters as the profile's own, 01"),
        (PROFILES["ascii-thermometer"].text, "01", "the profile says no address"),
        (PROFILES["modbus-rtu"].text, "seven", "a whole number, for a Modbus device"),
    ],
)
def test_an_address_that_does_not_fit_is_refused(text, address, hint):
    with pytest.raises(ValueError, match=hint):
        at_address(text, "line", address)


def test_a_register_map_at_another_address():
    profile = compiled_anew(at_address(PROFILES["modbus-rtu"].text, "map", "17"), "map")
    assert [q.data for q in profile.questions[1]] == [
        with_crc(b"\x11\x04\0\0\0\x04"),
        with_crc(b"\x11\x04\0\x10\0\x01"),
    ]


TWO = compiled_anew(
    """
profile: two-devices
title: Two devices on one line
modbus: {address: 1, function: 4}
readings:
  - {register: 0, as: i16 big, step: 0.1 degC, channel: room}
  - {address: 2, register: 0, as: i16 big, step: 0.1 degC, channel: oven}
""",
    "two",
)


def test_each_device_is_asked_and_only_its_own_answer_is_taken():
    conversation = TWO.conversation()
    asked = [question.data for question in TWO.questions[1]]
    assert asked == [with_crc(b"\x01\x04\0\0\0\x01"), with_crc(b"\x02\x04\0\0\0\x01")]
    conversation.sent(asked[1], 0.0)
    assert not any(isinstance(o, Frame) for o in conversation.feed(with_crc(b"\x01\x04\x02\0\xd7"), 0.1))
    *_, mine = conversation.feed(with_crc(b"\x02\x04\x02\x07\xd0"), 0.2)
    assert isinstance(mine, Frame)
    assert [(r.form.channel, r.digits) for r in mine.readings] == [("oven", "200.0")]
    conversation.sent(asked[1], 1.0)
    (refused,) = conversation.feed(with_crc(b"\x02\x84\x02"), 1.1)
    assert refused.reason == "the device answers with an exception: illegal data address"
