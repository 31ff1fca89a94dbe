"""Sums and CRCs against the catalogue's check values and another implementation."""

import zlib

import anycrc
import pytest
from crccheck.crc import ALLCRCCLASSES
from hypothesis import given
from hypothesis import strategies as st

from meterlog.conversation.checksum import KINDS, Sum, calculation
from meterlog.conversation.memory import Memory
from meterlog.conversation.notation import WAYS
from meterlog.profile import compile_profile

CHECK = b"123456789"
BY_HAND = [  # kind, turn, bytes, result, source
    ("sum-8", "", b"\x01\x02\xff", 0x02, "by hand: 1 + 2 + 255 = 258 = 0x102"),
    ("sum-16", "", b"\xff" * 300, 300 * 255 & 0xFFFF, "by hand: 300 times 255, the lower 16 bits"),
    ("xor-8", "", b"\x0f\xf0\x01", 0xFE, "by hand"),
    ("sum-8", "negated", b"\x01\x02\xff", 0xFE, "by hand: 0x100 - 0x02"),
    ("sum-8", "inverted", b"\x01\x02\xff", 0xFD, "by hand: 0xFF - 0x02"),
    ("carry-sum-16", "", bytes.fromhex("0001f203f4f5f6f7"), 0xDDF2, "RFC 1071, 3, numerical example: ddf2"),
    ("carry-sum-16", "inverted", bytes.fromhex("0001f203f4f5f6f7"), 0x220D, "RFC 1071, 3: its one's complement"),
    ("carry-sum-8", "", b"\xff\x02", 0x02, "by hand: 0x101, the carry added back"),
    ("word-sum-16", "", b"\x12\x34\xff", 0x1134, "by hand: 0x1234 + 0xFF00, the lower 16 bits"),
    ("xor-16", "", b"\x12\x34\x56", 0x4434, "by hand: 0x1234 xor 0x5600"),
    ("fletcher-16", "", b"abcde", 0xC8F0, "the usual test vector, from memory"),
    ("fletcher-16", "", b"\x01\x02", 0x0403, "by hand: sums 1 and 3, their sum 4"),
    ("crc-16/modbus", "", CHECK, 0x4B37, "catalogue of CRCs: CRC-16/MODBUS, check=0x4b37 [memory]"),
    ("crc-16/xmodem", "", CHECK, 0x31C3, "catalogue of CRCs: CRC-16/XMODEM, check=0x31c3 [memory]"),
    ("crc-32/iso-hdlc", "", CHECK, 0xCBF43926, "catalogue of CRCs: CRC-32/ISO-HDLC, check=0xcbf43926 [memory]"),
]


@pytest.mark.parametrize(("kind", "turn", "data", "result", "source"), BY_HAND)
def test_known_results(kind, turn, data, result, source):
    assert calculation(Sum(kind=kind, turn=turn))(data) == result


@pytest.mark.parametrize(
    "name", ["CRC-16/MODBUS", "CRC-8/MAXIM-DOW", "CRC-16/KERMIT", "CRC-32/ISO-HDLC", "CRC-16/IBM-SDLC"]
)
@given(data=st.binary(max_size=80))
def test_tables_by_place_agree_with_another_library(name, data):
    made = next(c for c in ALLCRCCLASSES if name in c._names)
    other = anycrc.CRC(width=made._width, poly=made._poly, init=made._initvalue, refin=made._reflect_input,
                       refout=made._reflect_output, xorout=made._xor_output)  # fmt: skip
    assert calculation(Sum(kind=name.lower()))(data) == other.calc(data)


@given(data=st.binary(max_size=80))
def test_adler_s_sum_is_zlib_s(data):
    assert calculation(Sum(kind="adler-32"))(data) == zlib.adler32(data)


@pytest.mark.parametrize(
    ("modulo", "turn", "result", "source"),
    [(100, "", 45, "by hand: 200 + 145 = 345"), (100, "negated", 55, "by hand"), (256, "", 89, "by hand: 345 - 256"),
     (97, "", 54, "by hand: 345 - 3 * 97")],
)  # fmt: skip
def test_a_sum_divided_leaves_its_rest(modulo, turn, result, source):
    assert calculation(Sum(kind="sum-8", turn=turn, modulo=modulo))(bytes((200, 145))) == result


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("turn", ["", "negated", "inverted"])
def test_every_kind_proves_frames_and_requests_alike(kind, turn):
    """What is appended to a request is what proves an answer; a changed byte is noticed."""
    bits = KINDS[kind].bits
    profile = compile_profile(
        f"profile: k\ntitle: K\nask: {{requests: [{{send: hex A5 01 02, with check: true}}]}}\n"
        f"frame: {{start: hex A5, length: {3 + bits // 8}}}\n"
        f"check: {{kind: {turn} {kind}, at: 3..{2 + bits // 8}}}\nreadings: [{{byte: 1, unit: V}}]\n".replace(
            ": ,", ":"
        ),
        kind,
    )
    (frame,) = (question.data for question in profile.questions[1])
    assert isinstance(profile.messages[0].decode(frame, Memory()), tuple)
    assert profile.messages[0].decode(frame[:1] + b"\x03" + frame[2:], Memory()).startswith("check in byte")


@given(data=st.binary(max_size=80))
def test_parameters_say_the_same_as_the_name(data):
    said = Sum(kind="crc", width=16, poly=0x8005, init=0xFFFF, reflect_in=True, reflect_out=True)
    assert calculation(said)(data) == calculation(Sum(kind="crc-16/modbus"))(data)


CRCS = [  # text, its CRC as SDI-12 writes it, source
    (b"0+3.14", b"OqZ", "SDI-12 version 1.3, 4.4.12, the example of aD0! with CRC [from memory; by hand it agrees]"),
    (b"1+2.7+85.2-0.2-2.7+770.5", b"CAH", "a wind sensor's user guide, its example of 1MC! and 1D0!"),
]


@pytest.mark.parametrize(("text", "written", "source"), CRCS)
def test_six_bits_are_written_as_sdi_12_says(text, written, source):
    value = calculation(Sum(kind="crc-16/arc"))(text)
    assert WAYS["six bits"].write(value, 3) == written
    assert WAYS["six bits"].read(written) == value


BY_HAND_WRITTEN = [  # way, number, characters, source
    ("nibbles", 0xA5, b":5", "by hand: 0x30 + 10 is ':', 0x30 + 5 is '5'"),
    ("decimal", 209, b"209", "by hand"),
    ("bcd", 1234, b"\x12\x34", "by hand: two figures a byte"),
    ("hex", 0x1F, b"1F", "by hand"),
]


@pytest.mark.parametrize(("way", "number", "characters", "source"), BY_HAND_WRITTEN)
def test_ways_of_writing(way, number, characters, source):
    assert WAYS[way].write(number, len(characters)) == characters
    assert WAYS[way].read(characters) == number


@pytest.mark.parametrize(
    ("way", "text"), [("nibbles", b"@1"), ("decimal", b"1A"), ("bcd", b"\x1a"), ("hex", b"G0"), ("six bits", b"1AA")]
)
def test_other_characters_are_no_check(way, text):
    assert WAYS[way].read(text) is None
