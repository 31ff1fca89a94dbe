"""Polled instruments: what is asked when, what an answer belongs to, and what comes of silence."""

from shipped_profiles import PROFILES

from meterlog.base.readings import Frame, Rejected, Skipped
from meterlog.links.settings import settings_of
from meterlog.profile.compile.compiler import compiled_anew

QUESTIONS = [question.data for question in PROFILES["modbus-rtu"].questions[1]]
ANSWER = PROFILES["modbus-rtu"].said.examples[0].frame


def test_requests_are_sent_in_turn_round_after_round():
    conversation = PROFILES["modbus-rtu"].conversation()
    assert conversation.poll(0.0)[0] == [QUESTIONS[0]]
    conversation.sent(QUESTIONS[0], 0.0)
    assert conversation.poll(0.01)[0] == []
    assert [type(o) for o in conversation.feed(ANSWER, 0.05)] == [Frame]
    assert conversation.wake_at == 0.05 + 0.02
    assert conversation.poll(0.07)[0] == [QUESTIONS[1]]
    conversation.sent(QUESTIONS[1], 0.07)
    conversation.feed(PROFILES["modbus-rtu"].said.examples[1].frame, 0.1)
    assert conversation.wake_at == 1.0
    assert conversation.poll(1.0)[0] == [QUESTIONS[0]]


def test_no_answer_is_told_and_the_next_is_asked():
    conversation = PROFILES["modbus-rtu"].conversation()
    conversation.poll(0.0)
    conversation.sent(QUESTIONS[0], 0.0)
    written, found = conversation.poll(0.3)
    assert [(o.raw, o.reason) for o in found] == [(b"", f"no answer to {QUESTIONS[0].hex(' ')}")]
    assert written == []
    assert conversation.wake_at == 0.6  # for as long again, the late answer could be taken for the next request's
    assert conversation.poll(0.6)[0] == [QUESTIONS[1]]


def test_part_of_an_answer_is_rejected_when_time_is_over():
    conversation = PROFILES["modbus-rtu"].conversation()
    conversation.poll(0.0)
    conversation.sent(QUESTIONS[0], 0.0)
    assert conversation.feed(ANSWER[:5], 0.1) == []
    found = conversation.poll(0.3)[1]
    assert b"".join(o.raw for o in found) == ANSWER[:5]
    assert all(isinstance(o, Rejected) for o in found)


def test_an_answer_belongs_to_what_was_sent_not_to_what_was_handed_out():
    conversation = PROFILES["modbus-rtu"].conversation()
    conversation.poll(0.0)  # a replay hands this nowhere
    conversation.sent(QUESTIONS[1], 0.0)
    (found,) = conversation.feed(PROFILES["modbus-rtu"].said.examples[1].frame, 0.1)
    assert [reading.form.channel for reading in found.readings] == ["casing"]


def test_a_device_that_refuses_has_answered():
    conversation = PROFILES["modbus-rtu"].conversation()
    conversation.poll(0.0)
    conversation.sent(QUESTIONS[0], 0.0)
    (found,) = conversation.feed(PROFILES["modbus-rtu"].said.examples[4].frame, 0.1)
    assert found.reason == "the device answers with an exception: illegal data address"
    assert conversation.poll(conversation.wake_at)[0] == [QUESTIONS[1]]


def test_the_start_up_exchange_comes_first_and_again_after_silence():
    conversation = PROFILES["scpi-multimeter"].conversation()
    assert conversation.poll(0.0)[0] == []  # the profile waits after opening
    assert conversation.poll(0.2)[0] == [b"*IDN?\n"]
    conversation.sent(b"*IDN?\n", 0.2)
    assert conversation.poll(2.2)[0] == [b"*IDN?\n"]
    conversation.sent(b"*IDN?\n", 2.2)
    conversation.feed(b"EXAMPLE,BENCH,1,1.0\n", 2.3)
    assert conversation.poll(2.3)[0] == [b"CONF?\n"]


def test_silence_within_a_frame_gives_it_up():
    conversation = PROFILES["ascii-thermometer"].conversation()
    assert conversation.feed(b"T=+02", 0.0) == []
    assert conversation.wake_at == 0.5
    (found,) = conversation.poll(0.5)[1]
    assert (found.raw, found.reason) == (b"T=+02", "cut short: nothing came for 0.5 s")
    (whole,) = conversation.feed(b"T=+023.5C\r\n", 1.0)
    assert isinstance(whole, Frame)


TWO = compiled_anew(
    """
profile: two-inputs
title: Two inputs of one unit, asked in turn
ask: {every: 2 s, wait: 0.5 s, requests: [{send: A<CR>, means: channel a}, {send: B<CR>, means: channel b}]}
frame: {end: <CR>, gap: 0.2 s}
text: "{value}"
fields: {value: {as: decimal}}
readings: [{value: value, unit: V}]
""",
    "two",
)


def asked(profile, *requests):
    """A conversation in which requests were sent at their times."""
    conversation = profile.conversation()
    for data, at in requests:
        conversation.sent(data, at)
    return conversation


def shown(found):
    return [(r.form.channel, r.digits) for o in found if isinstance(o, Frame) for r in o.readings]


def test_a_late_answer_belongs_to_the_request_that_it_answers():
    conversation = asked(TWO, (b"A\r", 0.0))
    assert [o.reason for o in conversation.poll(0.5)[1]] == ["no answer to A"]
    assert conversation.poll(0.6)[0] == []
    assert shown(conversation.feed(b"1.5\r", 0.7)) == [("a", "1.5")]
    assert conversation.poll(0.7)[0] == [b"B\r"]


def test_an_answer_that_may_be_an_earlier_one_s_is_not_believed():
    conversation = asked(TWO, (b"A\r", 0.0), (b"B\r", 0.5))
    (late,) = conversation.feed(b"1.5\r", 0.7)
    assert late.reason == "may be the late answer to A"
    assert shown(conversation.feed(b"2.5\r", 0.8)) == [("b", "2.5")]


def test_after_as_long_again_nothing_is_owed():
    conversation = asked(TWO, (b"A\r", 0.0), (b"B\r", 1.01))
    assert shown(conversation.feed(b"2.5\r", 1.1)) == [("b", "2.5")]


def test_the_same_request_again_waits_for_nothing():
    only = compiled_anew(
        "profile: o\ntitle: O\nask: {wait: 0.5 s, requests: [V<CR>]}\nframe: {end: <CR>}\ntext: '{v}'\n"
        "readings: [{value: v, unit: V}]\n",
        "only",
    ).conversation()
    only.sent(b"V\r", 0.0)
    assert only.poll(0.5)[0] == [b"V\r"]
    assert [type(o) for o in only.feed(b"1\r", 0.7)] == [Frame]


def test_a_damaged_answer_is_told_once_and_the_next_is_asked_at_once():
    conversation = PROFILES["modbus-rtu"].conversation()
    conversation.poll(0.0)
    conversation.sent(QUESTIONS[0], 0.0)
    (found,) = conversation.feed(ANSWER[:-1] + b"\0", 0.05)
    assert found.reason.startswith("check in bytes -2..-1")
    assert conversation.wake_at == 0.05 + 0.02
    assert conversation.poll(0.07) == ([QUESTIONS[1]], [])


def test_what_is_no_answer_leaves_the_request_open_and_is_told_once():
    conversation = asked(TWO, (b"A\r", 0.0))
    (noise,) = conversation.feed(b"hello\r", 0.1)
    assert noise.reason.startswith("does not look like")
    assert conversation.poll(0.2) == ([], [])
    assert shown(conversation.feed(b"1.5\r", 0.3)) == [("a", "1.5")]
    conversation = asked(TWO, (b"A\r", 0.0))
    conversation.feed(b"hello\r", 0.1)
    assert conversation.poll(0.5) == ([], [])


def test_where_nothing_marks_a_frame_a_damaged_line_is_perhaps_no_answer():
    conversation = compiled_anew(
        "profile: u\ntitle: U\nask: {wait: 0.5 s, requests: [V<CR>]}\nframe: {end: <CR>}\n"
        "check: {kind: sum-8, at: -2..-1, as: hex}\ntext: '{v}*{_}'\nreadings: [{value: v, unit: V}]\n",
        "unmarked",
    ).conversation()
    conversation.sent(b"V\r", 0.0)
    (found,) = conversation.feed(b"READY\r", 0.1)
    assert found.reason.startswith("check")
    assert conversation.poll(0.2) == ([], [])
    assert conversation.wake_at == 0.5


def test_a_start_up_answer_that_is_not_believed_is_asked_for_again_at_the_old_pace():
    conversation = compiled_anew(
        "profile: s\ntitle: S\nask: {wait: 0.5 s, first: [{send: I<CR>, answer: id}], requests: [V<CR>]}\n"
        "frame: {start: '*', end: <CR>}\ncheck: {kind: sum-8, at: -2..-1, as: hex}\n"
        "messages: {id: {when: {starts: '*I'}}, v: {text: '*{v}/{_}', readings: [{value: v, unit: V}]}}\n",
        "start-up",
    ).conversation()
    conversation.sent(b"I\r", 0.0)
    (found,) = conversation.feed(b"*I00\r", 0.1)
    assert found.reason.startswith("check")
    assert conversation.wake_at == 0.5
    assert conversation.poll(0.5)[0] == [b"I\r"]


ECHOED = compiled_anew(
    """
profile: echoed
title: What is sent comes back
ask:
  echo: true
  every: 2 s
  wait: 0.5 s
  requests: [{send: A<CR>, means: channel a}, {send: B<CR>, means: channel b, echo: B<CR><LF>}]
frame: {end: <CR>, gap: 0.2 s}
text: "{value}"
fields: {value: {as: decimal}}
readings: [{value: value, unit: V}]
""",
    "echoed",
)


def test_what_was_sent_and_comes_back_is_skipped_however_it_is_split():
    for size in (1, 2, 3, 20):
        conversation = asked(ECHOED, (b"A\r", 0.0))
        stream = b"A\r1.5\r"
        found = [o for i in range(0, len(stream), size) for o in conversation.feed(stream[i : i + size], 0.1)]
        assert [(type(o), o.start, o.raw) for o in found] == [(Skipped, 0, b"A\r"), (Frame, 2, b"1.5\r")]
        conversation.sent(b"B\r", 0.2)
        assert shown(conversation.feed(b"B\r\n2.5\r", 0.3)) == [("b", "2.5")]


def test_an_echo_that_differs_spoils_its_answer_and_no_other():
    conversation = asked(ECHOED, (b"A\r", 0.0))
    assert conversation.feed(b"C\r1.5\r", 0.1) == []
    (found,) = conversation.poll(0.5)[1]
    assert found.raw == b"C\r1.5\r"
    assert found.reason.startswith("what was sent did not come back")
    conversation.sent(b"B\r", 1.0)
    assert shown(conversation.feed(b"B\r\n2.5\r", 1.1)) == [("b", "2.5")]


def test_part_of_an_echo_is_told_when_time_is_over():
    conversation = asked(ECHOED, (b"B\r", 0.0))
    conversation.feed(b"B", 0.1)
    assert [(o.raw, o.reason) for o in conversation.poll(0.5)[1]] == [
        (b"B", "cut short: only part of what was sent came back")
    ]


def test_every_byte_of_a_spoiled_echo_is_told_though_nobody_polls():
    conversation = asked(ECHOED, (b"A\r", 0.0))
    found = conversation.feed(b"x" * 3000, 0.1)
    found += conversation.sent(b"B\r", 5.0)
    found += conversation.feed(b"B\r\n2.5\r", 5.1) + conversation.end()
    assert b"".join(o.raw for o in found) == b"x" * 3000 + b"B\r\n2.5\r"
    assert [o.start for o in found] == [0, 1024, 2048, 3000, 3003]
    assert shown(found) == [("b", "2.5")]


def test_an_echo_that_the_profile_does_not_say_is_named():
    conversation = asked(TWO, (b"A\r", 0.0))
    (found,) = conversation.feed(b"A\r", 0.1)
    assert found.reason == "a request come back: where all of them do, say `echo: true` under `ask`"


SEVERAL = compiled_anew(
    """
profile: several
title: Several lines answer one request
ask: {wait: 0.5 s, requests: [{send: M<CR>, until: done}]}
frame: {end: <CR>}
messages:
  done: {when: {starts: OK}, text: OK}
  value: {text: "{v}", readings: [{value: v, unit: V}]}
""",
    "several",
)


def test_nothing_is_asked_before_the_message_that_ends_an_answer():
    conversation = asked(SEVERAL, (b"M\r", 0.0))
    assert [type(o) for o in conversation.feed(b"1.5\r2.5\r", 0.1)] == [Frame, Frame]
    assert conversation.wake_at == 0.5
    conversation.feed(b"OK\r", 0.2)
    assert conversation.poll(conversation.wake_at)[0] == [b"M\r"]


def test_an_answer_that_never_ends_is_given_up():
    conversation = asked(SEVERAL, (b"M\r", 0.0))
    conversation.feed(b"1.5\r", 0.1)
    assert [o.reason for o in conversation.poll(0.5)[1]] == ["no answer to M"]


def test_an_instrument_that_fell_silent_is_woken_again():
    conversation = compiled_anew(
        "profile: w\ntitle: W\nline: {wake: <CR>, wake again: 10 s}\nframe: {end: <LF>}\ntext: '{v}'\n"
        "readings: [{value: v, unit: V}]\n",
        "woken",
    ).conversation()
    assert conversation.poll(0.0)[0] == [b"\r"]
    conversation.feed(b"1.5\n", 4.0)
    assert conversation.wake_at == 14.0
    assert conversation.poll(13.9)[0] == []
    assert conversation.poll(14.0)[0] == [b"\r"]
    assert conversation.wake_at == 24.0


GREETED = """profile: p
title: T
line: {baud: 19200, wake: "!", wake baud: 300}
ask:
  first: [{send: HELLO<CR>, baud: 2400, answer: greeted}]
  requests: [{send: READ<CR>, answer baud: 9600}, STATE<CR>]
frame: {end: <CR>}
messages:
  greeted: {when: {starts: OK}, text: OK}
  value: {text: "{number} V", readings: [{value: number, unit: V}]}
"""


def test_each_request_says_the_rates_of_itself_and_of_its_answer():
    profile = compiled_anew(GREETED, "p")
    settings, conversation = settings_of(profile), profile.conversation()
    asked = []
    for at in range(8):
        (requests, _) = conversation.poll(float(at))
        for request in requests:
            conversation.sent(request, float(at))
            asked.append((bytes(request), *settings.rates(request)))
        conversation.feed(b"OK\r" if at == 0 else b"12 V\r", at + 0.1)
    assert asked[:4] == [
        (b"!", 300, 300),
        (b"HELLO\r", 2400, 2400),
        (b"READ\r", 19200, 9600),
        (b"STATE\r", 19200, 19200),
    ]


def test_a_greeting_is_sent_again_at_its_own_rate_when_answers_stay_out():
    profile = compiled_anew(GREETED, "p")
    settings, conversation = settings_of(profile), profile.conversation()
    asked = []
    for at in range(30):
        (requests, _) = conversation.poll(float(at))
        for request in requests:
            conversation.sent(request, float(at))
            asked.append((bytes(request), settings.rates(request)[0]))
        if at == 0:
            conversation.feed(b"OK\r", 0.1)
    assert asked.count((b"HELLO\r", 2400)) > 1
