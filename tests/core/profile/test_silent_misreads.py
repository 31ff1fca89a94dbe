"""What was once read wrong, or dropped, without a word."""

import pytest

from meterlog.base.errors import WrongText
from meterlog.base.readings import Bound, Frame, Rejected, Skipped
from meterlog.conversation.drive import drive, received
from meterlog.profile.compile.compiler import compiled_anew, read_kept_profile
from meterlog.profile.compile.examples import shown


def heard(body, data):
    profile = compiled_anew(f"profile: p\ntitle: P\n{body}", "p")
    return list(drive(profile.conversation(), received(data)))


def readings(found):
    return [shown(r) for o in found if isinstance(o, Frame) for r in o.readings]


def reasons(found):
    return [o.reason for o in found if isinstance(o, Rejected)]


FLOAT = "frame: {{start: hex AA, length: 6}}\nfields: {{f: {{byte: 1, means: {{1: times {times}}}}}}}\n"
TEXT = "frame: {{end: <LF>}}\ntext: '{{v}} {{f}}'\nfields: {{f: {{means: {{X: times {times}}}}}}}\n"


@pytest.mark.parametrize(
    ("times", "says"),  # 12.5 times each, by hand
    [("0.1", "1.25 V"), ("0.5", "6.25 V"), ("10", "125.0 V"), ("0.001", "0.0125 V"), ("2", "25.0 V")],
)
def test_a_factor_holds_for_numbers_with_a_point_of_their_own(times, says):
    body = FLOAT.format(times=times) + "readings: [{bytes: 2..5, as: f32 big, unit: V}]\n"
    assert readings(heard(body, bytes.fromhex("AA 01 41 48 00 00"))) == [f"{says} voltage"]
    body = TEXT.format(times=times) + "readings: [{value: v, unit: V}]\n"
    assert readings(heard(body, b"12.5 X\n")) == [f"{says} voltage"]


def test_a_factor_of_whole_numbers_moves_the_point_too():
    body = TEXT.format(times="0.1") + "readings: [{value: v, unit: V}]\n"
    assert readings(heard(body, b"125 X\n")) == ["12.5 V voltage"]


@pytest.mark.parametrize("text", ["9007199254740991", "123456789012345678", "1234567890123456"])
def test_a_whole_number_that_is_too_long_is_no_tenth_of_itself(text):
    found = heard("frame: {end: <LF>}\ntext: '{v}'\nreadings: [{value: v, unit: V}]\n", text.encode() + b"\n")
    assert readings(found) == []
    assert len(reasons(found)) == 1


def test_fifteen_figures_are_read_on_both_sides_of_the_point():
    body = "frame: {end: <LF>}\ntext: '{v}'\nreadings: [{value: v, unit: V}]\n"
    assert readings(heard(body, b"123456789012345\n12345678.9012345\n.5\n")) == [
        "123456789012345 V voltage", "12345678.9012345 V voltage", ".5 V voltage"]  # fmt: skip


LINE = 'text: "0+{v}"\nreadings: [{value: v, unit: V}]\n'


def test_a_start_mark_within_a_line_drops_no_good_line():
    lines = [f"0+{value / 10}" for value in range(200)] + ["0+10+5"]
    found = heard("frame: {start: 0+, end: <CR><LF>}\n" + LINE, "".join(f"{line}\r\n" for line in lines).encode())
    assert readings(found) == [f"{value / 10} V voltage" for value in range(200)]
    assert reasons(found) == ["does not look like '0+{v}'"]


def test_where_nothing_proves_a_line_a_second_start_mark_makes_it_none():
    body = "frame: {start: '#', end: <LF>}\nreadings: [{bytes: 1..2, as: digits, unit: V}]\n"
    found = heard(body, b"#12\n#1#34\n#56\n")
    assert readings(found) == ["12 V voltage", "56 V voltage"]
    assert reasons(found) == ["a second start mark stands before its end"]


def test_a_line_that_lost_its_end_takes_no_good_line_with_it():
    body = "frame: {end: <CR><LF>}\ntext: 'T={v}C'\nreadings: [{value: v, unit: degC}]\n"
    found = heard(body, b"T=21.5CT=21.6C\r\nT=21.7C\nT=21.8C\r\nT=2\xfe1.9C\r\n\x80\xffT=22.0C\r\n")
    assert readings(found) == [f"{v} degC temperature" for v in ("21.6", "21.8", "22.0")]


def test_a_line_whose_beginning_proves_nothing_is_never_read_from_within():
    """The end of `23.5` is lost: what follows looks like a line from many places on."""
    found = heard("frame: {end: <LF>}\ntext: '{v}V'\nreadings: [{value: v, unit: V}]\n", b"23.524.1V\n24.1V\n")
    assert readings(found) == ["24.1 V voltage"]


def test_an_overload_with_a_minus_keeps_it():
    body = (
        "frame: {end: <LF>}\ntext: '{s}{v}'\nfields:\n  s: {means: {'-': negative, '+': normal}}\n"
        "  v: {as: decimal, special: {OL: overload}}\nreadings: [{value: v, unit: V}]\n"
    )
    minus, plus = (o.readings[0].form for o in heard(body, b"-OL\n+OL\n"))
    assert (minus.bound, minus.flags) == (Bound.OVERLOAD, ("minus",))
    assert (plus.bound, plus.flags) == (Bound.OVERLOAD, ())


def test_a_byte_that_must_be_a_code_is_told_by_its_field():
    body = "frame: {start: hex AA, length: 3}\nfields: {kind: {byte: 1, is: 0x01}}\nreadings: [{byte: 2, unit: V}]\n"
    (found,) = heard(body, bytes.fromhex("AA 07 2A"))
    assert not isinstance(found, Skipped)
    assert found.reason == "kind: expected 0x01, saw 0x07"


FOLLOW = """frame: {start bit: 7, length: {byte: 1, plus: 2}}
check: {kind: sum-8, mask: 0x7F, at: -1}
readings: [{bytes: 2..-2, as: decimal, unit: kg}]
"""


def so_many(text):
    frame = bytes((0x81, len(text) + 1)) + text
    return frame + bytes((sum(frame) & 0x7F,))


def test_a_frame_that_lost_a_byte_takes_nothing_of_one_that_is_marked_by_a_bit():
    whole, other = so_many(b"12.34"), so_many(b"5.6")
    found = heard(FOLLOW, whole + whole[:4] + whole[5:] + other + b"\x11\x22" + whole)
    assert readings(found) == ["12.34 kg mass", "5.6 kg mass", "12.34 kg mass"]
    assert reasons(found) == ["another begins before its length is full"]
    assert [o.raw for o in found if isinstance(o, Skipped)] == [b"\x11\x22"]


@pytest.mark.parametrize("size", [1, 2, 3, 7])
def test_how_bytes_come_changes_nothing_of_frames_that_are_marked_by_a_bit(size):
    whole, other = so_many(b"12.34"), so_many(b"5.6")
    data = whole + whole[:4] + whole[5:] + other + b"\x11\x22" + whole[:1] + whole + other[:-1]
    conversation = compiled_anew(f"profile: p\ntitle: P\n{FOLLOW}", "p").conversation()
    split = [o for at in range(0, len(data), size) for o in conversation.feed(data[at : at + size], 0.0)]
    assert [*split, *conversation.end()] == heard(FOLLOW, data)


def test_a_frame_whose_check_holds_and_that_says_it_can_not_measure_is_looked_for_no_other_within():
    body = """frame: {start: hex 11, length: 5}
check: {kind: sum-8, at: 4}
readings: [{bytes: 1..2, as: u16 big, unit: V, special: {0xFFFF: reject no probe}}]
"""
    data = bytes.fromhex("11 FF FF 11 20 11 00 0C 11 2E")  # the check of each by hand: 0x11+FF+FF+11, 0x11+0+0C+11
    found = heard(body, data)
    assert [o.raw for o in found if isinstance(o, Rejected)] == [data[:5]]
    assert reasons(found) == ["no probe"]
    assert readings(found) == ["12 V voltage"]


def test_a_code_that_no_message_has_is_told_with_its_place():
    kinds = "".join(f"  m{n}: {{when: {{byte: 1, is: {n}}}, readings: [{{byte: 2, unit: V}}]}}\n" for n in (1, 2))
    found = heard(f"frame: {{start: hex AA, length: 3}}\nmessages:\n{kinds}", bytes.fromhex("AA 01 05 AA 07 05"))
    assert readings(found) == ["5 V voltage"]
    assert reasons(found) == ["byte 1: 0x07 is the code of no message"]


@pytest.mark.parametrize("name", ["request", "message", "columns", "fields", "header"])
def test_a_kept_field_may_have_any_name(name):
    body = f"""frame: {{end: <LF>}}
messages:
  f: {{when: {{starts: F}}, text: "F{{{name}}}", keep: {name}, fields: {{{name}: {{means: {{V: V, R: ohm}}}}}}}}
  v: {{text: "{{v}}", readings: [{{value: v}}]}}
"""
    assert readings(heard(body, b"FR\n12\nFV\n12\n")) == ["12 ohm resistance", "12 V voltage"]


@pytest.mark.parametrize("name", ["bits", "request", "value", "counts"])
def test_a_field_of_any_name_keeps_its_meaning_beside_lamps_and_requests(name):
    body = f"""ask: {{requests: [{{send: A, means: channel a}}, {{send: B, means: channel b}}]}}
frame: {{start: hex AA, length: 4}}
fields: {{{name}: {{byte: 1, means: {{1: V, 2: reject broken}}}}}}
bits: {{3.0: flag hold}}
readings: [{{byte: 2}}]
"""
    conversation = compiled_anew(f"profile: p\ntitle: P\n{body}", "p").conversation()
    found = list(drive(conversation, [*received(b"\xaa\x01\x05\x01", b"B"), *received(b"\xaa\x02\x05\x00", b"A", 1.0)]))
    assert readings(found) == ["b = 5 V voltage (hold)"]
    assert reasons(found) == ["broken"]


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ("f: {byte: 1, means: {1: V, 0x01: A}}", "0x01"),
        ("f: {byte: 1, means: {0x10..0x1F: V, 0x15: A}}", "0x15"),
        ("f: {byte: 1, means: {0x15 or 0x16: A, 0x16: V}}", "0x16"),
        ("g: {byte: 2}, f: {byte: 1, under: g, means: {0: {1: V, 0x01: A}}}", "0x00 with 0x01"),
        ("g: {byte: 2}, f: {byte: 1, under: g, means: {0: {1: V}, 0 or 1: {1: A}}}", "0x00 with 0x01"),
        ("n: {byte: 1, special: {255: overload, 0xFF: open sensor}}", "0xFF"),
    ],
)
def test_a_code_with_two_meanings_is_told(fields, code):
    number = "value: n, unit: V" if fields.startswith("n") else "byte: 2"
    text = (
        f"profile: p\ntitle: P\nframe: {{start: hex AA, length: 3}}\nfields: {{{fields}}}\nreadings: [{{{number}}}]\n"
    )
    with pytest.raises(WrongText, match=f"{code} with two meanings"):
        compiled_anew(text, "p")
    assert read_kept_profile(text, "p")


def test_the_same_meaning_twice_is_none_too_many():
    body = """frame: {start: hex AA, length: 3}
fields: {f: {byte: 1, means: {1: V, 0x01: V, 0..3: V}}}
readings: [{byte: 2}]
"""
    assert readings(heard(body, b"\xaa\x01\x05")) == ["5 V voltage"]


@pytest.mark.parametrize(("way", "step", "is_sound"), [
    ("decimal", "0.5 V", False), ("decimal", "0.1 V", True), ("digits", "0.5 V", True)])  # fmt: skip
def test_a_step_counts_whole_numbers(way, step, is_sound):
    text = "profile: p\ntitle: P\nframe: {end: <LF>}\ntext: '{v}'\nreadings: [{value: v, as: %s, step: %s}]\n"
    if is_sound:
        assert compiled_anew(text % (way, step), "p")
        return
    with pytest.raises(WrongText, match="where the number may have a point of its own"):
        compiled_anew(text % (way, step), "p")
