"""Stuffed bytes, bytes behind the end mark, equal marks and keys: frames as a sender of another make writes them."""

import binascii

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import noise, splits

from meterlog.base.readings import Frame, Rejected, Skipped
from meterlog.conversation.framing import Delimited, FrameCandidate
from meterlog.conversation.stuffing import BROKEN_ESCAPE
from meterlog.profile.compile.compiler import compiled_anew

HEAD = "profile: stuffed\ntitle: Stuffed\n"
KEY = bytes.fromhex("5A A5 3C 99")


def slip(inner):
    """RFC 1055, Transmission of IP Datagrams over Serial Lines, page 3: END 192, ESC 219, then 220 or 221."""
    return inner.replace(b"\xdb", b"\xdb\xdd").replace(b"\xc0", b"\xdb\xdc") + b"\xc0"


def hdlc(inner):
    """RFC 1662, "PPP in HDLC-like Framing", 4.2: 0x7D before the byte with bit 6 complemented."""
    return b"\x7e" + b"".join(bytes([0x7D, c ^ 0x20]) if c in b"\x7d\x7e" else bytes([c]) for c in inner) + b"\x7e"


def doubled(inner):
    """Transparent text of character-oriented line control: DLE STX … DLE ETX, a DLE within is sent twice."""
    return b"\x10\x02" + inner.replace(b"\x10", b"\x10\x10") + b"\x10\x03"


SENDERS = {  # how the frame is said, places of number and check, what the sender does, what the check proves
    "SLIP": ("{end: hex C0, escape: {by: hex DB, codes: {0xDC: 0xC0, 0xDD: 0xDB}}}", "0..1", "-2..-1", "0..-3", slip),
    "flags": ("{start: hex 7E, end: hex 7E, escape: {by: hex 7D, xor: 0x20}}", "1..2", "-2..-1", "1..-3", hdlc),
    "DLE": ("{start: <DLE><STX>, end: <DLE><ETX>, escape: {by: <DLE>, doubled: true}}", "2..3", "-2..-1", "2..-3",
            doubled),
    "DLE, fixed length": ("{start: <DLE><STX>, end: <DLE><ETX>, length: 9, escape: {by: <DLE>, doubled: true}}",
                          "2..3", "-2..-1", "2..-3", doubled),
    "told length": ("{start: hex 7E, length: {byte: 1, plus: 4}, escape: {by: hex 7D, xor: 0x20}}", "2..3", "-2..-1",
                    "2..-3", lambda inner: hdlc(bytes([len(inner) - 2]) + inner)[:-1]),
}  # fmt: skip


def profile_of(name):
    cut, number, held, proved, _ = SENDERS[name]
    return compiled_anew(
        f"{HEAD}frame: {cut}\ncheck: {{kind: CRC-16/IBM-3740, at: {held}, over: {proved}}}\n"
        f"readings:\n  - {{bytes: {number}, as: u16 big, unit: V}}\n",
        name,
    )


PROFILES = {name: profile_of(name) for name in SENDERS}


def sent(name, value, tail):
    inner = value.to_bytes(2, "big") + bytes([tail])
    return SENDERS[name][4](inner + binascii.crc_hqx(inner, 0xFFFF).to_bytes(2, "big"))


def outcomes(profile, pieces):
    conversation = profile.conversation()
    return [o for piece in pieces for o in conversation.feed(piece, 0.0)] + conversation.end()


def digits(found):
    return [reading.digits for o in found if isinstance(o, Frame) for reading in o.readings]


AWKWARD = st.sampled_from([0x10, 0x02, 0x03, 0x7D, 0x7E, 0xC0, 0xDB, 0xDC, 0xDD, 0x5E, 0x5D])
NUMBERS = st.lists(st.tuples(AWKWARD, AWKWARD, AWKWARD) | st.tuples(*[st.integers(0, 255)] * 3), max_size=6)


@pytest.mark.parametrize("name", SENDERS)
@settings(deadline=None)
@given(data=st.data(), numbers=NUMBERS)
def test_every_number_comes_through_however_it_is_split(name, data, numbers):
    frames = [sent(name, high << 8 | low, tail) for high, low, tail in numbers]
    found = outcomes(PROFILES[name], data.draw(splits(b"".join(frames))))
    assert digits(found) == [str(high << 8 | low) for high, low, _ in numbers]
    assert b"".join(o.raw for o in found) == b"".join(frames)


@pytest.mark.parametrize("name", SENDERS)
@settings(max_examples=200, deadline=None)
@given(data=st.data(), numbers=NUMBERS)
def test_damage_gives_no_other_number_and_splits_change_nothing(name, data, numbers):
    stream = b""
    for high, low, tail in numbers:
        frame = sent(name, high << 8 | low, tail)
        place, byte = data.draw(st.integers(0, len(frame) - 1)), data.draw(AWKWARD)
        kind = data.draw(st.sampled_from(["whole", "changed", "dropped", "cut", "noise"]))
        stream += {
            "whole": frame,
            "changed": frame[:place] + bytes([byte]) + frame[place + 1 :],
            "dropped": frame[:place] + frame[place + 1 :],
            "cut": frame[:place],
            "noise": data.draw(noise()) + frame,
        }[kind]
    found = outcomes(PROFILES[name], data.draw(splits(stream)))
    assert b"".join(o.raw for o in found) == stream
    assert set(digits(found)) <= {str(high << 8 | low) for high, low, _ in numbers}
    assert told(found) == told(outcomes(PROFILES[name], [stream]))


def told(found):
    """Outcomes with neighbouring skipped bytes told as one."""
    out = []
    for o in found:
        if isinstance(o, Skipped) and out and isinstance(out[-1], Skipped):
            out[-1] = Skipped(out[-1].start, out[-1].raw + o.raw, 0.0)
        else:
            out.append(o)
    return out


@pytest.mark.parametrize("name", SENDERS)
@settings(max_examples=60, deadline=None)
@given(garbage=noise(120))
def test_step_is_found_again_within_two_frames(name, garbage):
    conversation = PROFILES[name].conversation()
    conversation.feed(garbage, 0.0)
    found = [digits(conversation.feed(sent(name, 513, 7), 0.0)) for _ in range(3)]
    assert found[-1] == ["513"]


def test_an_escape_that_means_nothing_rejects_the_frame():
    found = outcomes(PROFILES["SLIP"], [b"\x01\xdb\x41\x02\x03\xc0" + sent("SLIP", 5, 0)])
    assert [o.reason for o in found if isinstance(o, Rejected)] == [BROKEN_ESCAPE]
    assert digits(found) == ["5"]


def test_marks_with_nothing_between_are_filling():
    found = outcomes(PROFILES["SLIP"], [b"\xc0\xc0" + sent("SLIP", 5, 0) + b"\xc0" + sent("SLIP", 6, 0)])
    assert digits(found) == ["5", "6"]
    assert [type(o) for o in found] == [Skipped, Frame, Skipped, Frame]


BLOCK = compiled_anew(
    f"""{HEAD}
frame: {{start: <STX>, end: <ETX>, after end: 1}}
check: {{kind: xor-8, over: 1..-2, at: -1}}
text: "<STX>{{value}} {{unit}}"
fields: {{value: {{as: decimal 5.0}}, unit: {{means: {{g: g, kg: kg}}}}}}
readings: [{{value: value}}]
""",
    "block",
)


def block(text):
    """STX, text, ETX, and the exclusive or of all behind STX up to and with ETX (the block check of ISO 1155)."""
    check = 0
    for byte in text + b"\x03":
        check ^= byte
    return b"\x02" + text + b"\x03" + bytes([check])


@settings(deadline=None)
@given(data=st.data(), values=st.lists(st.integers(0, 99999), max_size=6))
def test_a_check_behind_the_end_mark_is_part_of_the_frame(data, values):
    stream = b"".join(block(b"%05d g" % value) for value in values)
    found = outcomes(BLOCK, data.draw(splits(stream)))
    assert digits(found) == [f"{value:05d}" for value in values]
    assert b"".join(o.raw for o in found) == stream


@settings(deadline=None)
@given(value=st.integers(0, 99999), place=st.integers(0, 9), byte=st.integers(0, 255))
def test_a_damaged_block_is_never_read_wrong(value, place, byte):
    frame = block(b"%05d g" % value)
    stream = block(b"00001 g") + frame[:place] + bytes([byte]) + frame[place + 1 :] + block(b"00002 g")
    assert set(digits(outcomes(BLOCK, [stream]))) <= {"00001", "00002", f"{value:05d}"}


def test_a_lost_check_costs_no_frame_behind_it():
    found = outcomes(BLOCK, [block(b"00001 g")[:-1] + block(b"00002 g")])
    assert digits(found) == ["00002"]


def test_a_check_that_looks_like_a_start_mark_ends_its_frame():
    framer = Delimited((b"\x02",), (b"\x03",), 20, 1)
    assert framer.find(b"\x021\x03\x02", 0) == FrameCandidate(0, 4)
    assert framer.find(b"\x021\x03\x03", 0) == FrameCandidate(0, 4)


def test_a_block_that_never_ends_is_given_up():
    conversation = BLOCK.conversation()
    assert conversation.feed(b"\x02\x02", 0.0) == []
    found = conversation.poll(1.0)[1]
    assert b"".join(o.raw for o in found) == b"\x02\x02"


SAME = compiled_anew(
    f"""{HEAD}
frame: {{start: "#", end: "#"}}
text: "#{{value}} V"
fields: {{value: {{as: decimal 2.1}}}}
readings: [{{value: value, unit: V}}]
""",
    "same",
)


def test_one_mark_may_stand_at_both_ends():
    assert digits(outcomes(SAME, [b"#12.3 V##12.4 V#\r\n#12.5 V#"])) == ["12.3", "12.4", "12.5"]


def test_a_frame_without_its_first_mark_is_not_believed():
    found = outcomes(SAME, [b"2.3 V##12.4 V##12.5 V#"])
    assert digits(found) == ["12.4", "12.5"]
    found = outcomes(SAME, [b"#12.3 V#12.4 V##12.5 V#"])
    assert digits(found) == ["12.3", "12.5"]


def keyed(frame):
    return bytes(byte ^ KEY[place % 4] for place, byte in enumerate(frame))


KEYED = {
    "whole frame": (
        "{start: hex F0 F5, length: 8, xor: {key: hex 5A A5 3C 99, over: 0..-1}}",
        lambda inner: keyed(b"\xaa\x50" + inner),
    ),
    "between the marks": (
        "{start: hex AA 50, length: 8, xor: hex 5A A5 3C 99}",
        lambda inner: b"\xaa\x50" + keyed(inner),
    ),
    "told length": (
        "{start: hex AA 50, length: {byte: 2}, xor: hex 5A A5 3C 99}",
        lambda inner: b"\xaa\x50" + keyed(b"\x08" + inner[1:]),
    ),
}


@pytest.mark.parametrize("name", KEYED)
@settings(deadline=None)
@given(data=st.data(), values=st.lists(st.integers(0, 65535), max_size=5))
def test_a_key_is_undone_from_the_frame_s_own_beginning(name, data, values):
    cut, send = KEYED[name]
    profile = compiled_anew(
        f"{HEAD}frame: {cut}\ncheck: {{kind: CRC-16/IBM-3740, at: 6..7, over: 3..5}}\n"
        "readings: [{bytes: 4..5, as: u16 big, unit: V}]\n",
        name,
    )
    stream = b""
    for value in values:
        inner = b"\x01" + value.to_bytes(2, "big")
        stream += send(b"\0" + inner + binascii.crc_hqx(inner, 0xFFFF).to_bytes(2, "big"))
    found = outcomes(profile, data.draw(splits(stream)))
    assert digits(found) == [str(value) for value in values]
    assert b"".join(o.raw for o in found) == stream


def test_a_frame_between_silences_begins_with_its_mark_too():
    conversation = compiled_anew(
        f"{HEAD}frame: {{start: hex AA, silence: 20 ms}}\nreadings: [{{byte: 1, unit: V}}]\n", "silence"
    ).conversation()
    conversation.feed(b"\x01\x02\x03", 0.0)
    (wrong,) = conversation.poll(0.1)[1]
    assert wrong.reason == "does not begin with hex AA"
    conversation.feed(b"\xaa\x05", 1.0)
    assert digits(conversation.poll(1.1)[1]) == ["5"]


def test_a_told_length_counts_what_stands_behind_the_end_mark():
    profile = compiled_anew(
        f"{HEAD}frame: {{start: <STX>, length: {{byte: 1}}, end: <ETX>, after end: 1}}\n"
        "check: {kind: xor-8, over: 1..-2, at: -1}\nreadings: [{byte: 2, unit: V}]\n",
        "told",
    )
    found = outcomes(profile, [b"\x02\x05\x2a\x03\x2c" + b"\x02\x05\x2a\x04\x2c"])
    assert digits(found) == ["42"]
    assert found[-1].reason in ("does not end as a frame does", "cut short: the stream ended")
