"""Values that are no number, in every way of reading bytes: what the profile calls so is never shown as a number."""

import struct

import pytest

from meterlog.base.errors import WrongText
from meterlog.base.readings import Frame, Rejected
from meterlog.profile.compile.compiler import compiled_anew

WAYS = [  # how it is read, the special value as written, bytes that hold it (by hand)
    ("u16 big", "0x7FFF", b"\x7f\xff"),
    ("u16 little", "0x7FFF", b"\xff\x7f"),
    ("u16 little", "32767", b"\xff\x7f"),
    ("i16 big", "0x8001", b"\x80\x01"),
    ("i16 little", "0x8001", b"\x01\x80"),
    ("i16 little", "-32767", b"\x01\x80"),
    ("sm16 little", "0x8001", b"\x01\x80"),
    ("u32 little", "0xFFFFFFFF", b"\xff" * 4),
    ("u32 CDAB", "0x7FFF0001", b"\x00\x01\x7f\xff"),
    ("f32 little", "9.9E37", struct.pack("<f", 9.9e37)),
    ("f64 little", "nan", struct.pack("<d", float("nan"))),
    ("bcd", "FFFF", b"\xff\xff"),
    ("bcd", "0xFFFF", b"\xff\xff"),
    ("bcd", "fff0", b"\xff\xf0"),
    ("bcd little", "9F00", b"\x00\x9f"),
    ("bcd little", "9999", b"\x99\x99"),
    ("unpacked bcd", "FF", b"\x0f\xff"),
    ("bcd blank F", "''", b"\xff\xff"),
    ("bcd blank F", "FFFF", b"\xff\xff"),
    ("bcd blank F", "EEEE", b"\xee\xee"),
    ("digits", "OL", b"OL"),
    ("digits little", "99", b"99"),
    ("hex", "7FFF", b"7FFF"),
    ("signed hex", "8001", b"8001"),
    ("decimal", "OPEN", b"OPEN"),
    ("decimal", "999.9", b"999.90"),
    ("decimal comma", "'999,9'", b"999,9"),
    ("decimal comma 3.1", "'999,9'", b"999,9"),
    ("decimal comma", "'--,-'", b"--,-"),
]


@pytest.mark.parametrize(("way", "said", "data"), WAYS)
def test_it_is_never_shown_as_a_number(way, said, data):
    decimals = ", decimals: 1" if way[0] == "f" else ""
    profile = compiled_anew(
        f"profile: p\ntitle: T\nframe: {{start: hex AA, length: {1 + len(data)}}}\n"
        f"readings: [{{bytes: 1..{len(data)}, as: {way}, unit: degC{decimals}, special: {{{said}: open sensor}}}}]\n",
        way,
    )
    (found,) = profile.conversation().feed(b"\xaa" + data, 0.0)
    assert isinstance(found, Frame)
    assert str(found.readings[0].form.bound) == "open sensor"


def test_a_word_of_bcd_is_told():
    with pytest.raises(WrongText, match="of BCD a special value is written in its hex digits, such as FFFFFF"):
        compiled_anew(
            "profile: p\ntitle: T\nframe: {start: hex AA, length: 3}\n"
            "readings: [{bytes: 1..2, as: bcd, unit: degC, special: {OL: overload}}]\n",
            "bcd",
        )


SEGMENTS = """\
profile: p
title: T
frame: {start: hex AA, length: 4}
fields: {shown: {segments: -gfedcba, digits: [1.7..0, 2.7..0, 3.7..0], points: [2.7], special: {%s: overload}}}
readings: [{value: shown, unit: V}]
"""


@pytest.mark.parametrize(
    ("word", "data"), [("OL", "00 3F 38"), ("0L", "BF 38 00"), ("Err", "79 50 50"), ("HI", "00 76 06")]
)
def test_a_word_on_a_display_is_known_by_its_look(word, data):
    (found,) = compiled_anew(SEGMENTS % word, "segments").conversation().feed(bytes.fromhex("AA" + data), 0.0)
    assert str(found.readings[0].form.bound) == "overload"


def test_a_bit_that_lights_no_segment_of_a_digit_is_left_out():
    (found,) = compiled_anew(SEGMENTS % "OL", "segments").conversation().feed(bytes.fromhex("AA 06 DB 4F"), 0.0)
    assert found.readings[0].digits == "1.23"


SUMS = [  # fields of a and b, frame behind its start mark, what a - b comes to; by hand
    ("as: i16 little, special: {0x7FFF: open sensor}", "FF7F 0500", "open sensor"),
    ("as: i16 little, special: {0x7FFF: open sensor}", "0700 FF7F", "open sensor"),
    ("as: i16 little, special: {0x7FFF: open sensor}", "0700 0500", "2"),
    ("as: i16 big, special: {-1: below}", "FFFF 0005", "below"),
    ("as: bcd, special: {FFFF: overload}", "FFFF 0005", "overload"),
    ("as: bcd, special: {FFFF: overload}", "0007 0005", "2"),
    ("as: decimal, special: {OL: overload}", "4F4C 2035", "overload"),
    ("as: decimal, special: {99: overload}", "2037 3939", "overload"),
    ("as: decimal, special: {99: overload, OL: below}", "3132 2035", "7"),
    ("as: digits, special: {OL: nothing}", "4F4C 3035", None),
]


@pytest.mark.parametrize(("how", "data", "shown"), SUMS)
def test_a_sum_over_what_is_no_number_is_none_either(how, data, shown):
    profile = compiled_anew(
        "profile: p\ntitle: T\nframe: {start: hex AA, length: 5}\n"
        f"fields: {{a: {{bytes: 1..2, {how}}}, b: {{bytes: 3..4, {how}}}}}\n"
        "readings: [{value: a - b, unit: degC, decimals: 0}]\n",
        how,
    )
    (found,) = profile.conversation().feed(b"\xaa" + bytes.fromhex(data), 0.0)
    assert isinstance(found, Frame)
    assert [r.digits or str(r.form.bound) for r in found.readings] == ([] if shown is None else [shown])


def test_floats_that_are_no_number_make_no_sum():
    profile = compiled_anew(
        "profile: p\ntitle: T\nframe: {start: hex AA, length: 9}\n"
        "fields:\n  a: {bytes: 1..4, as: f32 big, special: {nan: open sensor}}\n  b: {bytes: 5..8, as: f32 big}\n"
        "readings: [{value: a - b, unit: degC, decimals: 1}]\n",
        "floats",
    )
    conversation = profile.conversation()
    (found,) = conversation.feed(b"\xaa" + struct.pack(">ff", float("nan"), 1.0), 0.0)
    assert str(found.readings[0].form.bound) == "open sensor"
    (found,) = conversation.feed(b"\xaa" + struct.pack(">ff", 21.5, 1.0), 0.0)
    assert found.readings[0].digits == "20.5"
    (found,) = conversation.feed(b"\xaa" + struct.pack(">ff", 21.5, float("nan")), 0.0)
    assert found.reason == "b: no number"


def test_a_point_that_is_no_number_rejects_the_frame():
    profile = compiled_anew(
        "profile: p\ntitle: T\nframe: {start: hex AA, length: 3}\n"
        "fields: {point: {byte: 1, special: {255: normal}}}\n"
        "readings: [{byte: 2, unit: V, decimals: point}]\n",
        "point",
    )
    conversation = profile.conversation()
    assert conversation.feed(b"\xaa\x01\x2a", 0.0)[0].readings[0].digits == "4.2"
    assert conversation.feed(b"\xaa\xff\x2a", 0.0)[0].reason == "the decimal point stands nowhere on the display"


def test_what_an_earlier_message_kept_is_no_number_either():
    profile = compiled_anew(
        "profile: p\ntitle: T\nframe: {start: hex AA, length: 3}\nmessages:\n"
        "  limit: {when: {byte: 1, is: 1}, fields: {limit: {byte: 2, special: {255: overload}}}, keep: limit}\n"
        "  value:\n    when: {byte: 1, is: 2}\n    fields: {now: {byte: 2}}\n    readings:\n"
        "      - {value: limit - now, unit: V}\n      - {value: limit, unit: V, channel: limit}\n",
        "kept",
    )
    conversation = profile.conversation()
    conversation.feed(bytes.fromhex("AA 01 FF"), 0.0)
    (found,) = conversation.feed(bytes.fromhex("AA 02 05"), 0.0)
    assert [str(r.form.bound) for r in found.readings] == ["overload", "overload"]
    conversation.feed(bytes.fromhex("AA 01 09"), 0.0)
    (found,) = conversation.feed(bytes.fromhex("AA 02 05"), 0.0)
    assert [r.digits for r in found.readings] == ["4", "9"]


def test_a_reading_may_say_it_of_the_field_that_it_takes():
    profile = compiled_anew(
        "profile: p\ntitle: T\nframe: {end: <LF>}\ntext: '{v} V'\n"
        "readings: [{value: v, unit: V, special: {OL: overload, 999: below}}]\n",
        "beside",
    )
    shown = [profile.conversation().feed(line, 0.0)[0].readings[0] for line in (b"OL V\n", b"999.0 V\n", b"12 V\n")]
    assert [r.digits or str(r.form.bound) for r in shown] == ["overload", "below", "12"]


BLANKED = [  # how it is read, bytes, digits or the reason; by hand
    ("bcd blank F", "FF 42", "42"),
    ("bcd blank F", "FF F0", "0"),
    ("bcd blank A", "AA A7", "7"),
    ("bcd little blank F", "42 FF", "42"),
    ("unpacked bcd blank F", "0F 04", "4"),
    ("bcd blank F", "4F 42", None),
    ("bcd blank F", "FF FF", None),
    ("bcd blank F", "AA 42", None),
    ("bcd", "FF 42", None),
]


@pytest.mark.parametrize(("how", "data", "digits"), BLANKED)
def test_leading_places_that_show_nothing(how, data, digits):
    profile = compiled_anew(
        f"profile: p\ntitle: T\nframe: {{start: hex AA, length: 3}}\nreadings: [{{bytes: 1..2, as: {how}, unit: V}}]\n",
        how,
    )
    (found,) = profile.conversation().feed(b"\xaa" + bytes.fromhex(data), 0.0)
    assert (found.readings[0].digits if isinstance(found, Frame) else None) == digits


def test_blanks_of_bits():
    profile = compiled_anew(
        "profile: p\ntitle: T\nframe: {start: hex AA, length: 3}\n"
        "fields: {v: {bits: 1.3..0 2.7..0, as: bcd blank F}}\nreadings: [{value: v, unit: V}]\n",
        "bits",
    )
    assert profile.conversation().feed(bytes.fromhex("AA 0F F7"), 0.0)[0].readings[0].digits == "7"


UNDER = """profile: p
title: T
frame: {{start: hex AA, length: {length}}}
fields:
  function: {{byte: 1, means: {{1: V, 2 or 3: ohm, 4: degC}}}}
  number:
    bytes: 2..{last}
    as: {way}
    under: function
    special: {{2 or 3: {{{said}: overload}}, 4: {{{said}: open sensor}}}}
readings: [{{value: {value}{decimals}}}]
"""
NO_NUMBERS = {
    "nan",
    "FFFF",
    "9F00",
    "fff0",
    "FF",
    "''",
    "EEEE",
    "OL",
    "OPEN",
    "'--,-'",
    "9.9E37",
}  # as no number can be read


@pytest.mark.parametrize("value", ["number", "number * 1"])
@pytest.mark.parametrize(("way", "said", "data"), WAYS)
def test_under_a_function_it_is_what_that_function_calls_it_and_else_a_number(way, said, data, value):
    decimals = ", decimals: 1" if way[0] == "f" or (way.startswith("decimal") and value != "number") else ""
    text = UNDER.format(length=2 + len(data), last=1 + len(data), way=way, said=said, value=value, decimals=decimals)
    profile = compiled_anew(text, way)
    for function, bound in ((2, "overload"), (3, "overload"), (4, "open sensor")):
        (found,) = profile.conversation().feed(bytes([0xAA, function]) + data, 0.0)
        assert isinstance(found, Frame)
        assert str(found.readings[0].form.bound) == bound
    (found, *_) = profile.conversation().feed(b"\xaa\x01" + data, 0.0)
    if said in NO_NUMBERS or (way, said) == ("bcd", "0xFFFF"):
        assert isinstance(found, Rejected)
        assert not isinstance(found, Frame)
    else:
        assert isinstance(found, Frame)
        assert found.readings[0].form.bound is None
        assert found.readings[0].digits


def test_any_other_function_may_have_a_table_and_an_unknown_one_is_no_number():
    text = UNDER.format(length=4, last=3, way="u16 big", said="0x7FFF", value="number", decimals="")
    profile = compiled_anew(text.replace("4: {0x7FFF", "any other: {0x7FFF"), "other")
    (found,) = profile.conversation().feed(b"\xaa\x01\x7f\xff", 0.0)
    assert str(found.readings[0].form.bound) == "open sensor"
    (found, *_) = profile.conversation().feed(b"\xaa\x09\x7f\xff", 0.0)
    assert isinstance(found, Rejected)


KEPT_FUNCTION = """profile: p
title: T
frame: {end: <LF>}
messages:
  function: {when: {starts: F}, text: "F{function}", keep: function, fields: {function: {means: {V: V, R: ohm}}}}
  number:
    text: "{number}"
    fields: {number: {as: digits, under: function, special: {R: {9999: overload}}}}
    readings: [{value: number}]
"""


def test_of_a_function_that_nobody_has_told_no_value_is_believed():
    profile = compiled_anew(KEPT_FUNCTION, "kept")
    found = profile.conversation().feed(b"9999\nFR\n9999\nFV\n9999\n", 0.0)
    assert isinstance(found[0], Rejected)
    assert found[0].reason == "nothing has told function yet"
    assert str(found[2].readings[0].form.bound) == "overload"
    assert found[4].readings[0].digits == "9999"


@pytest.mark.parametrize(
    ("said", "wrong"),
    [
        ("special: {1: {0x7FFF: overload}}", "a table below each code needs `under: FIELD`"),
        ("under: f, special: {0x7FFF: overload}", "0x7FFF is a code of f there"),
        ("under: nobody, special: {1: {0x7FFF: overload}}", "a field of this message"),
    ],
)
def test_a_table_of_special_values_and_what_it_stands_under_need_each_other(said, wrong):
    with pytest.raises(WrongText, match=wrong):
        compiled_anew(
            "profile: p\ntitle: T\nframe: {start: hex AA, length: 4}\n"
            f"fields: {{f: {{byte: 1, means: {{1: V}}}}, n: {{bytes: 2..3, as: u16 big, {said}}}}}\n"
            "readings: [{value: n}]\n",
            "p",
        )
