"""Register maps whose point, unit and state stand in registers of their own."""

from players.modbus import with_crc

from meterlog.base.readings import Frame
from meterlog.profile.compile.compiler import compiled_anew

MAP = compiled_anew(
    """
profile: scaled
title: Value, point and state apart
ask: {wait: 1 s}
modbus: {address: 1, function: 3}
fields:
  point: {register: 1, as: i16 big}
  unit: {register: 40, bits: 2..1, means: {0: degC, 1: degF}}
  alarm: {register: 40, bits: 0, means: {0: normal, 1: flag alarm}}
readings:
  - {register: 0, as: i16 big, decimals: point, channel: probe}
  - {value: point * 2 + 1, channel: worked out}
""",
    "scaled",
)


def words(*registers):
    return with_crc(bytes([1, 3, 2 * len(registers)]) + b"".join(r.to_bytes(2, "big") for r in registers))


STATE, VALUES = (question.data for question in MAP.questions[1])


def answered(conversation, at, *exchanges):
    shown = []
    for request, answer in exchanges:
        conversation.sent(request, at)
        found = conversation.feed(answer, at)
        shown += [(r.form.channel, r.digits, r.form.unit, r.form.flags)
                  for o in found if isinstance(o, Frame) for r in o.readings]  # fmt: skip
    return shown


def test_registers_that_touch_or_overlap_are_asked_together_and_fields_that_others_need_first():
    assert with_crc(b"\x01\x03\0\x28\0\x01") == STATE
    assert with_crc(b"\x01\x03\0\0\0\x02") == VALUES


def test_point_unit_and_state_come_from_their_registers():
    conversation = MAP.conversation()
    assert answered(conversation, 0.0, (STATE, words(3)), (VALUES, words(705, 1))) == [
        ("probe", "70.5", "degF", ("alarm",)),
        ("worked out", "3", "degF", ("alarm",)),
    ]
    assert answered(conversation, 1.0, (STATE, words(0)), (VALUES, words(0xFFCC, 2)))[0] == (
        "probe",
        "-0.52",
        "degC",
        (),
    )


def test_without_the_state_there_is_no_reading():
    conversation = MAP.conversation()
    assert answered(conversation, 0.0, (VALUES, words(705, 1))) == []
    assert len(answered(conversation, 1.0, (STATE, words(0)), (VALUES, words(705, 1)))) == 2
    conversation.sent(STATE, 2.0)
    conversation.poll(3.0)
    assert answered(conversation, 5.0, (VALUES, words(705, 1))) == []


def test_a_point_that_nobody_has_told_yet_rejects_the_reading():
    profile = compiled_anew(
        "profile: p\ntitle: T\nmodbus: {address: 1, function: 3}\nfields: {point: {register: 40, as: i16 big}}\n"
        "readings:\n  - {register: 0, as: i16 big, decimals: point, unit: V}\n  - {value: point, unit: A}\n",
        "point",
    )
    point, value = (question.data for question in profile.questions[1])
    conversation = profile.conversation()
    conversation.sent(value, 0.0)
    (found,) = conversation.feed(words(42), 0.0)
    assert found.reason == "nothing has told point yet"
    assert [row[1] for row in answered(conversation, 1.0, (point, words(1)), (value, words(42)))] == ["1", "4.2"]
