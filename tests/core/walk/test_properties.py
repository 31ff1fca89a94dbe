"""What holds for every stream: splits, order of links and time shifts change nothing; ranges never mix."""

import random

from bench_streams import Meter, Piece
from bench_trials import Job, meter_of
from hypothesis import given, settings
from hypothesis import strategies as st
from players.segments import frame_of
from strategies import splits
from walking import OHM, OVER, procedure, step

from meterlog.base.readings import Reading
from meterlog.files import shipped
from meterlog.profile import compile_profile
from meterlog.walk import REPLAY, Walk
from meterlog.walk.happenings import Captured
from meterlog.walk.session import Session
from meterlog.walk.settle import criterion_for, same_range

PROFILE = compile_profile(shipped.text_of(shipped.find("handheld-segments", "profiles/instruments")), "segments")
SCRIPT = [Piece(2), Piece(5, 47.0, bounce=0.3), Piece(2), Piece(6, 3300.0, tau=0.4), Piece(2), Piece(5, 0.8), Piece(2)]
STEPS = (step("a"), step("b"), step("c"))
seeds = st.integers(0, 10**6)


def captures(happenings):
    return [(h.step, h.capture) for h in happenings if isinstance(h, Captured)]


def walked(stream, steps=STEPS, shift=0.0, extra=()):
    """The captures of a walk over a stream of (at, reading), with readings of other links between."""
    walk = Walk(procedure(*steps), at=shift, assume=REPLAY)
    told = walk.start(shift)
    every = [(at, 0, "meter", n, reading) for n, (at, reading) in enumerate(stream)]
    every += [(at, 1, "other", n, reading) for n, (at, reading) in enumerate(extra)]
    for at, _, source, ordinal, reading in sorted(every, key=lambda entry: entry[:2]):
        told += walk.reading(source, ordinal, reading, at + shift)
    return captures(told)


def stream_of(seed, rate=3.0):
    rng = random.Random(seed)
    return Meter(rate=rate, noise=rng.choice((1, 3)), drop=0.02).watch(SCRIPT, rng, "resistance")


@settings(max_examples=30, deadline=None)
@given(st.data(), seeds)
def test_how_bytes_are_split_changes_no_capture(data, seed):
    stream = stream_of(seed)
    session = Session(procedure(*STEPS), {"meter": PROFILE}, assume=REPLAY)
    whole, cut = session.start(0.0), []
    for at, reading in stream:
        whole += session.received("meter", frame_of(reading), at)
    session = Session(procedure(*STEPS), {"meter": PROFILE}, assume=REPLAY)
    cut = session.start(0.0)
    for at, reading in stream:
        for piece in data.draw(splits(frame_of(reading))) if data.draw(st.integers(0, 9)) == 0 else [frame_of(reading)]:
            cut += session.received("meter", piece, at)
    assert captures(cut) == captures(whole)
    assert len(captures(whole)) > 0


@settings(max_examples=30, deadline=None)
@given(seeds, st.integers(-(2**20), 2**20))
def test_a_time_shift_shifts_captures_and_nothing_else(seed, shift):
    def told(found, by):
        return [(key, c.counts, c.form, c.first, c.last, round(c.started - by, 6), c.how) for key, c in found]

    stream = stream_of(seed)
    assert told(walked(stream, shift=float(shift)), shift) == told(walked(stream), 0)


@settings(max_examples=20, deadline=None)
@given(seeds, seeds)
def test_a_thermometer_beside_the_meter_changes_nothing(seed, other):
    thermometer = Meter(rate=1.0).watch([Piece(30, 21.0)], random.Random(other), "temperature")
    assert walked(stream_of(seed), extra=thermometer) == walked(stream_of(seed))


@settings(max_examples=25, deadline=None)
@given(seeds, st.sampled_from((1.0, 2.0, 5.0, 10.0)))
def test_a_capture_is_of_one_range_and_of_its_own_readings(seed, rate):
    rng = random.Random(seed)
    job = Job(rng, meter_of(rng, rate))
    stream = job.meter.watch(job.script, rng, "resistance")
    for _, capture in walked(stream, job.steps):
        if capture.how != "settled":
            continue
        run = [reading for _, reading in stream[capture.first : capture.last + 1]]
        mine = [reading for reading in run if reading.form.quantity == capture.form.quantity and not reading.form.bound]
        assert {same_range(reading.form) for reading in mine} == {same_range(capture.form)}
        assert capture.counts in {reading.counts for reading in mine}
        rule = criterion_for(capture.form.quantity)
        allowed = rule.spread_counts + rule.spread_part * abs(capture.counts)
        assert capture.spread <= (allowed + 1e-6) * capture.form.resolution


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(0, 5999), min_size=1, max_size=200))
def test_nothing_is_captured_without_apart_first(counts):
    stream = [(n / 4, Reading(OHM, count)) for n, count in enumerate(counts)]
    steady = [(50.0 + n / 4, Reading(OHM, counts[-1])) for n in range(40)]
    assert walked([*stream, *steady]) == []


def test_the_stream_of_that_property_is_captured_once_apart():
    apart = [(n / 4, Reading(OVER, None)) for n in range(8)]
    steady = [(2.0 + n / 4, Reading(OHM, 470)) for n in range(40)]
    assert [key for key, _ in walked([*apart, *steady])] == ["a"]
