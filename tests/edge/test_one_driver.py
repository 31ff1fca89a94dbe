"""One shared suite of cases for all who drive a conversation: live = replay = decode = audit = redecode.

Live plays an instrument on a bench: bytes come in pieces, the loop looks at its clocks late or early, requests are
answered or not. What it kept goes through the store; what it received and sent, through a recording.
"""

import itertools
import random
from pathlib import Path

import pytest
from drawn_profiles import dialect
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped_profiles import PROFILES
from walking import procedure, step

from meterlog.base.readings import Frame
from meterlog.base.recording import Event, Recording, parse, write
from meterlog.conversation.drive import drive
from meterlog.conversation.instruments import Instruments
from meterlog.profile import compile_profile
from meterlog.record.redecode import conversations_of, read_again
from meterlog.record.writer import Now
from meterlog.store import sqlite
from meterlog.store.audit import audit
from meterlog.store.reader import StoredRecord
from meterlog.store.writer import Writer
from meterlog.walk import REPLAY
from meterlog.walk.replay import RecordedLink, play
from meterlog.walk.session import LinkOutcome, Session

PAGES = sorted((Path(__file__).parents[1] / "manual_pages").iterdir())
DIALECTS = {f"dialect {seed}": dialect(seed) for seed in range(8)}
CASES = {
    **PROFILES,
    **{name: compile_profile(made.text, name) for name, made in DIALECTS.items()},
    **{page.name: compile_profile((page / "profile.yaml").read_text(), page.name) for page in PAGES},
}
NUMBERS = itertools.count()


def frames_of(name):
    """Frames that the instrument may send, whole."""
    if name in DIALECTS:
        return [DIALECTS[name].frame(random.Random(number))[0] for number in range(20)]
    page = Path(__file__).parents[1] / "manual_pages" / name / "stream.txt"
    if page.is_file():
        lines = [line.split(" ", 1) for line in page.read_text().splitlines()]
        return [bytes.fromhex(rest.split("|")[0]) for word, rest in lines if word in ("got", "noise")]
    return [
        data for example in CASES[name].said.examples for data in (*(e.frame for e in example.after), example.frame)
    ]


def damaged(data, rng):
    """Bytes as a line may spoil them."""
    place = rng.randrange(len(data))
    return rng.choice((
        data, data, data, data[:place], data[place:], data[:place] + bytes([rng.randrange(256)]) + data[place + 1 :],
        data[:place] + data[place + 1 :], rng.randbytes(rng.randrange(1, 6)) + data,
    ))  # fmt: skip


def live(profile, frames, rng):
    """What a bench hears of an instrument: outcomes as they came, and what was received and sent."""
    bench, heard, timeline, now = Instruments(), [], [], 0.0
    bench.opened("it", profile.conversation(), 0.0)
    patience = profile.patience

    def look(at):
        for _, requests, outcomes in bench.due(at):
            heard.append((at, "in", outcomes))
            for request in requests if rng.random() < 0.9 else ():
                heard.append((at, "in", bench.sent("it", request, at)))
                heard.append((at, "out", request))
                timeline.append(Event(at, "out", request))

    for _ in range(rng.randrange(3, 12)):
        now = round(now + rng.choice((0.0, 0.001, 0.02, patience / 2, patience, 2 * patience, 1.3)), 3)
        if rng.random() < 0.8:
            look(now)
        data = damaged(rng.choice(frames), rng)
        while data:
            size = rng.choice((1, 2, 5, len(data)))
            piece, data = data[:size], data[size:]
            heard.append((now, "in", bench.received("it", piece, now)))
            timeline.append(Event(now, "in", piece))
            now = round(
                now + rng.choice((0.0, 0.0, 0.001, patience / 3, patience * 0.99, patience, patience + 0.01)), 3
            )
            if rng.random() < 0.3:
                look(now)
    look(round(now + 3.0, 3))
    heard.append((now, "in", bench.closed("it")))
    return heard, timeline


def readings(outcomes):
    return [(o.start, o.raw, o.readings) for o in outcomes if isinstance(o, Frame)]


def kept(path, profile, heard):
    """The database that a bench leaves behind."""
    store = Writer(path, Now(0, 0, "boot"))
    link = store.open_link("it", profile.text, "{}", "played", Now(0, 0, "boot"))
    for place, (at, kind, said) in enumerate(heard):
        if kind == "out":
            store.sent(link, said, at, None, None)
        else:
            store.outcomes(link, said, None, None)
        if place % 7 == 6:
            store.commit(Now(place, place, "boot"))
    store.close_link(link)
    store.close(Now(10**6, 10**6, "boot"))
    return sqlite.open_reader(path)


@pytest.mark.parametrize("name", CASES)
@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_every_driver_comes_to_the_same_readings(name, tmp_path_factory, seed):
    profile, rng = CASES[name], random.Random(seed)
    heard, timeline = live(profile, frames_of(name), rng)
    outcomes = [o for _, kind, said in heard if kind == "in" for o in said]
    assert b"".join(o.raw for o in outcomes) == b"".join(e.data for e in timeline if e.kind == "in")
    told = readings(outcomes)

    recorded = parse(write(Recording(events=tuple(timeline))), "recording")
    assert readings(drive(profile.conversation(), recorded.events)) == told

    session = Session(procedure(step("a")), {"it": profile}, assume=REPLAY)
    played = [
        e.outcome for e in play(session, [RecordedLink(source="it", recording=recorded)]) if isinstance(e, LinkOutcome)
    ]
    assert readings(played) == told

    db = kept(tmp_path_factory.mktemp("one") / f"{next(NUMBERS)}.db", profile, heard)
    try:
        assert [str(finding) for finding in audit(db)] == []
        for conversation in conversations_of(StoredRecord(db), "it"):
            again = read_again(StoredRecord(db), conversation, profile)
            assert (again.kept, again.now, again.differences) == (again.kept, again.kept, ())
    finally:
        db.close()
