"""Polled instruments: what is asked when, what an answer belongs to, and what comes of silence."""

from shipped_profiles import PROFILES

from meterlog.readings import Frame, Rejected

QUESTIONS = [question.data for question in PROFILES["modbus-rtu"].questions[1]]
ANSWER = PROFILES["modbus-rtu"].said.examples[0].frame


def test_requests_are_sent_in_turn_round_after_round():
    talk = PROFILES["modbus-rtu"].talk()
    assert talk.poll(0.0)[0] == [QUESTIONS[0]]
    talk.sent(QUESTIONS[0], 0.0)
    assert talk.poll(0.01)[0] == []
    assert [type(o) for o in talk.feed(ANSWER, 0.05)] == [Frame]
    assert talk.wake_at == 0.05 + 0.02
    assert talk.poll(0.07)[0] == [QUESTIONS[1]]
    talk.sent(QUESTIONS[1], 0.07)
    talk.feed(PROFILES["modbus-rtu"].said.examples[1].frame, 0.1)
    assert talk.wake_at == 1.0
    assert talk.poll(1.0)[0] == [QUESTIONS[0]]


def test_no_answer_is_told_and_the_next_is_asked():
    talk = PROFILES["modbus-rtu"].talk()
    talk.poll(0.0)
    talk.sent(QUESTIONS[0], 0.0)
    written, found = talk.poll(0.3)
    assert [(o.raw, o.reason) for o in found] == [(b"", f"no answer to {QUESTIONS[0].hex(' ')}")]
    assert written == []
    assert talk.poll(0.32)[0] == [QUESTIONS[1]]


def test_part_of_an_answer_is_rejected_when_time_is_over():
    talk = PROFILES["modbus-rtu"].talk()
    talk.poll(0.0)
    talk.sent(QUESTIONS[0], 0.0)
    assert talk.feed(ANSWER[:5], 0.1) == []
    found = talk.poll(0.3)[1]
    assert b"".join(o.raw for o in found) == ANSWER[:5]
    assert all(isinstance(o, Rejected) for o in found)


def test_an_answer_belongs_to_what_was_sent_not_to_what_was_handed_out():
    talk = PROFILES["modbus-rtu"].talk()
    talk.poll(0.0)  # a replay hands this nowhere
    talk.sent(QUESTIONS[1], 0.0)
    (found,) = talk.feed(PROFILES["modbus-rtu"].said.examples[1].frame, 0.1)
    assert [reading.form.channel for reading in found.readings] == ["casing"]


def test_a_device_that_refuses_has_answered():
    talk = PROFILES["modbus-rtu"].talk()
    talk.poll(0.0)
    talk.sent(QUESTIONS[0], 0.0)
    (found,) = talk.feed(PROFILES["modbus-rtu"].said.examples[4].frame, 0.1)
    assert found.reason == "the device answers with an exception: illegal data address"
    assert talk.poll(talk.wake_at)[0] == [QUESTIONS[1]]


def test_the_start_up_exchange_comes_first_and_again_after_silence():
    talk = PROFILES["scpi-multimeter"].talk()
    assert talk.poll(0.0)[0] == []  # the profile waits after opening
    assert talk.poll(0.2)[0] == [b"*IDN?\n"]
    talk.sent(b"*IDN?\n", 0.2)
    assert talk.poll(2.2)[0] == [b"*IDN?\n"]
    talk.sent(b"*IDN?\n", 2.2)
    talk.feed(b"EXAMPLE,BENCH,1,1.0\n", 2.3)
    assert talk.poll(2.3)[0] == [b"CONF?\n"]


def test_silence_within_a_frame_gives_it_up():
    talk = PROFILES["ascii-thermometer"].talk()
    assert talk.feed(b"T=+02", 0.0) == []
    assert talk.wake_at == 0.5
    (found,) = talk.poll(0.5)[1]
    assert (found.raw, found.reason) == (b"T=+02", "cut short: silence for 0.5 s")
    (whole,) = talk.feed(b"T=+023.5C\r\n", 1.0)
    assert isinstance(whole, Frame)
