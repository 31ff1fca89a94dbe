"""Profiles proposed from bytes and notes: right or refused, never wrong, on dialects that share no code with them."""

import random

import dialects
import pytest
import strangers
from propose_trials import asked, cut_as_true, damaged, events_of, noted, score, with_a_false_one

from meterlog.base.errors import WrongText
from meterlog.base.readings import Rejected
from meterlog.base.recording import Event
from meterlog.conversation.drive import drive
from meterlog.profile import compile_profile
from meterlog.profile.propose import parse_shows, propose, read_notes
from meterlog.profile.propose.checks import find_check
from meterlog.profile.propose.framing import CutFrame

SEEDS = [
    *((dialects, seed) for seed in range(2000, 2008)),
    *((strangers, seed) for seed in (0, 1, 2, 3, 16, 27, 129, 222)),
]
"""Eight of each generator, so that the suite stays quick; `propose_trials` prints the table of many."""


@pytest.fixture(scope="module", params=SEEDS, ids=lambda each: f"{each[0].__name__}-{each[1]}")
def made(request):
    generator, seed = request.param
    return generator.stream(seed)


@pytest.fixture(scope="module")
def events(made):
    return events_of(made)


def test_framing_and_check_are_as_they_were_made_or_not_proposed(made, events):
    proposal = propose(events, (), "p")
    assert proposal.framing is None or cut_as_true(made, proposal) or made.framing in ("escaped", "length")
    assert proposal.check is None or made.check
    assert not proposal.profile


def test_eight_notes_read_nothing_wrong(made, events):
    proposal = propose(events, noted(made, 8, 1), "p")
    assert score(made, proposal.profile, events).wrong == 0
    if proposal.profile:
        compile_profile(proposal.profile, "p.yaml")
    else:
        assert proposal.why


@pytest.mark.parametrize("off", [2, -2])
def test_notes_off_by_two_frames_read_nothing_wrong(made, events, off):
    assert score(made, propose(events, noted(made, 8, 2, frames_off=off), "p").profile, events).wrong == 0


def test_one_false_note_reads_nothing_wrong(made, events):
    notes = with_a_false_one(made, noted(made, 8, 3), 3)
    assert score(made, propose(events, notes, "p").profile, events).wrong == 0


def test_a_damaged_stream_reads_nothing_wrong(made, events):
    assert score(made, propose(damaged(events, 4), noted(made, 8, 4), "p").profile, events).wrong == 0


def test_most_are_whole_with_notes_that_were_asked_for():
    """Half of the dialects at least, so that a real loss shows; the table says how many of a hundred."""
    whole = right = 0
    for generator, seed in SEEDS:
        made = generator.stream(seed)
        events = events_of(made)
        proposal, used = asked(made, events, 24, seed)
        result = score(made, proposal.profile, events)
        whole += result.right >= 0.97 * result.frames
        right += result.right / result.frames
        assert used <= 24
    assert whole >= len(SEEDS) / 2
    assert right / len(SEEDS) > 0.6


@pytest.mark.parametrize("poly", [0x8005, 0x1021, 0x3D65, 0xA001, 0xBEEF])
def test_any_polynomial_is_found(poly):
    """The check's own generator is another one: bit by bit, in `dialects`."""
    rng = random.Random(poly)
    frames = []
    for _ in range(20):
        data = bytes([0xAA, *(rng.randrange(256) for _ in range(6))])
        proof = dialects.crc(data, 16, poly | 1, 0xFFFF, False, False, 0).to_bytes(2, "big")
        frames.append(CutFrame(at=0.0, raw=data + proof, data=data + proof))
    found = find_check(frames, 0)
    assert found is not None
    assert found.size == 2
    other = [CutFrame(at=0.0, raw=f.raw[:-1] + b"\x00", data=f.data[:-1] + b"\x00") for f in frames]
    assert find_check(other, 0) is None


@pytest.mark.parametrize("poly", [0x1021, None])
def test_damaged_frames_hide_no_check_and_are_told_apart(poly):
    rng = random.Random(7)
    frames = []
    for _ in range(60):
        data = bytes([0xAA, *(rng.randrange(256) for _ in range(6))])
        proof = (
            dialects.crc(data, 16, poly, 0, False, False, 0).to_bytes(2, "big") if poly else bytes([sum(data) & 255])
        )
        frames.append(CutFrame(at=0.0, raw=data + proof, data=data + proof))
    hurt = [CutFrame(at=0.0, raw=f.raw, data=f.data[:3] + bytes([f.data[3] ^ 0x41]) + f.data[4:]) for f in frames[::15]]
    found = find_check([*hurt, *(f for i, f in enumerate(frames) if i % 15)], 0)
    assert found is not None
    assert found.size == (2 if poly else 1)
    assert found.strays == {frame.data for frame in hurt}


def test_a_line_that_stands_for_two_displays_is_not_known():
    """An instrument that sends the same for each range's overload: its display tells them apart, its bytes do not."""
    shows = [("1.234 kohm", "+1.234E+3"), ("OL kohm", "+9.9E+37"), ("2.718 Mohm", "+2.718E+6"), ("OL Mohm", "+9.9E+37")]
    events, notes = [], []
    for at in range(80):
        typed, sent = shows[at // 5 % 4]
        events.append(Event(at / 4, "in", f"{sent},ohm\r\n".encode()))
        if at % 5 == 2 and at < 60:
            notes.append(parse_shows(typed, at / 4 + 0.05))
    proposal = propose(events, notes, "p")
    assert [words for words in proposal.states_known if "overload" in words] == []
    assert set(proposal.states_known) == {"kohm", "Mohm"}
    assert proposal.states_unknown == 40


def test_flags_and_the_sign_are_said_as_bits_and_no_other_combination_is_read():
    """Hold and the sign each have a bit; what both together would show, no note has said."""
    states = [(0x00, 7, "{} V DC"), (0x01, 7, "{} V DC HOLD"), (0x02, 7, "-{} V DC"), (0x00, 9, "{} V AC")]
    events, notes, rng = [], [], random.Random(3)
    for at in range(120):
        flags, function, shown = states[at // 10 % 4]
        counts = rng.randrange(1000, 4000)
        events.append(Event(at / 4, "in", summed(flags, function, counts)))
        if at % 10 == 5:
            notes.append(parse_shows(shown.format(f"{counts / 1000:.3f}"), at / 4 + 0.05))
    profile = propose(events, notes, "p").profile
    assert "  1.0: flag hold\n" in profile
    assert "  1.1: negative\n" in profile
    (outcome,) = drive(compile_profile(profile, "p.yaml").conversation(), [Event(0.0, "in", summed(0x03, 7, 3000))])
    assert isinstance(outcome, Rejected)
    assert "state_known" in outcome.reason


def summed(flags, function, counts):
    data = bytes([0xAA, flags, function, *counts.to_bytes(2, "big")])
    return data + bytes([sum(data) & 255])


def test_random_bytes_have_no_check():
    rng = random.Random(1)
    for size in (6, 9, 14):
        frames = [CutFrame(at=0.0, raw=d, data=d) for d in (rng.randbytes(size) for _ in range(30))]
        assert find_check(frames, 0) is None


@pytest.mark.parametrize(
    ("count", "why"), [(5, "bursts of bytes between pauses"), (0, "bursts of bytes between pauses")]
)
def test_too_little_is_said(count, why):
    made = dialects.stream(2000)
    proposal = propose(events_of(made)[: 2 * count], (), "p")
    assert proposal.framing is None
    assert why in proposal.why


def test_one_note_is_too_little():
    made = dialects.stream(2000)
    proposal = propose(events_of(made), noted(made, 1, 1), "p")
    assert (proposal.profile, bool(proposal.why)) == ("", True)


TYPED = [
    ("-0.42 mV AC", (42, 2, True, "mV", "ac", ())),
    ("OL kohm", (None, 0, False, "kohm", "", ())),
    ("12,5 degC HOLD", (125, 1, False, "degC", "", ("hold",))),
    ("0.420", (420, 3, False, "", "", ())),
]


@pytest.mark.parametrize(("typed", "expected"), TYPED)
def test_a_display_as_it_is_typed(typed, expected):
    note = parse_shows(typed, 1.0)
    assert (note.counts, note.decimals, note.negative, note.unit, note.mode, note.flags) == expected


def test_notes_are_told_all_at_once():
    with pytest.raises(WrongText) as caught:
        read_notes("t_s,shows\n1.5,\nx,0.42 V\n3,12.5 V DC\n4,abc V\n", "notes.csv")
    assert str(caught.value) == (
        "notes.csv:2:1\n"
        "  expected  what the display showed, such as -0.42 mV AC\n"
        "  saw       nothing is written: what did the display show?\n"
        "notes.csv:3:1\n"
        "  expected  seconds since the recording began, such as 12.5\n"
        "  saw       x\n"
        "notes.csv:5:1\n"
        "  expected  what the display showed, such as -0.42 mV AC\n"
        "  saw       'abc' is neither figures nor OL"
    )
