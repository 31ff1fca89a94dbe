"""`meterlog replay`: whole recordings through the command, frames and all."""

import json
import random
import re
from dataclasses import replace

import pytest
from bench_streams import Meter, Piece
from click.testing import CliRunner
from players.segments import recorded
from walking import procedure, step

from meterlog.base.recording import Event, Recording, parse, write
from meterlog.cli.replay import replay
from meterlog.conversation.drive import drive
from meterlog.files import shipped
from meterlog.profile import compile_profile
from meterlog.walk import REPLAY, WORDS
from meterlog.walk.replay import RecordedLink, aligned, play
from meterlog.walk.session import LinkOutcome, Session

PROCEDURE = """\
procedure: small
title: Small
appliance: any
source: invented
cautions: [isolate]
points: {outside: {a: one end, b: other end}}
steps:
  - {step: look, kind: look, title: Looked over}
  - step: leads
    kind: leads
    title: Leads
  - step: element
    kind: measure
    title: Element
    points: [a, b]
    quantity: resistance
    needs: [look]
    limits: [{is: 40 .. 60 ohm, source: "common practice, no source", mark: common practice}]
  - step: switch
    kind: open
    title: Switch open
    points: [a, b]
    quantity: resistance
"""
SCRIPT = [Piece(2), Piece(4, 0.2), Piece(2), Piece(6, 47.0), Piece(2), Piece(3, 0.2), Piece(6), Piece(3, 0.2), Piece(2)]
ON_THE_POINTS = 20.5


@pytest.fixture
def files(tmp_path):
    stream = Meter(rate=4, noise=1, drop=0).watch(SCRIPT, random.Random(1), "resistance")
    (tmp_path / "small.yaml").write_text(PROCEDURE)
    taken = recorded(stream)
    said = Event(ON_THE_POINTS, "act", word="press")
    events = sorted((*taken.events, said), key=lambda event: event.at)
    (tmp_path / "session.txt").write_text(write(replace(taken, events=tuple(events))))
    return tmp_path


def run(folder, *args: str):
    return CliRunner().invoke(replay, ["--procedure", str(folder / "small.yaml"), *args, str(folder / "session.txt")])


def test_a_line_for_each_capture(files):
    rows = [json.loads(line) for line in run(files, "--json").stdout.splitlines()]
    kept = [(row["step"], row["value"], row["unit"], row["bound"], row["verdict"], row["how"]) for row in rows]
    assert kept == [
        ("leads", "000.3", "ohm", None, "not judged", "settled"),
        ("element", "047.1", "ohm", None, "pass", "settled"),
        ("switch", None, "Mohm", "overload", "not judged", "open proved, contact said"),
    ]
    assert all(row["t_start"] < row["t_end"] for row in rows)


def test_what_else_happened_is_told_in_words(files):
    assert run(files).stderr.splitlines()[:4] == [
        "      3.3 s  Looked over.",
        "      3.3 s  Left: nobody said.",
        "      3.3 s  Leads.",
        "      6.5 s  Element. a and b.",
    ]


def test_strict_waits_for_the_cautions(files):
    result = run(files, "--strict", "--json")
    assert (result.stdout, result.exit_code) == ("", 0)


def test_a_session_without_a_capture_is_told(files):
    (files / "session.txt").write_text("meterlog recording 1\nprofile: handheld-segments\n\n0.000 in 00\n")
    done = run(files, "--json")
    assert (done.exit_code, done.stdout) == (0, "")
    assert done.stderr.splitlines()[-1] == (
        "nothing was captured: does `meterlog decode` show readings of what the steps want?"
    )


def test_beginning_with_a_later_step(files):
    rows = [json.loads(line) for line in run(files, "--json", "--step", "element").stdout.splitlines()]
    assert rows[0]["step"] == "element"


def test_acts_in_a_recording_are_played(files):
    path = files / "session.txt"
    path.write_text(path.read_text().replace("\n\n", "\n\n0.000 act acknowledge\n0.000 act confirm\n", 1))
    rows = [json.loads(line) for line in run(files, "--strict", "--json").stdout.splitlines()]
    assert [row["step"] for row in rows] == ["leads", "element", "switch"]


def test_links_of_one_session_are_aligned_by_when_they_started(tmp_path):
    late = Recording(head={"started": "2026-03-01T09:30:02.5Z"}, events=(Event(0.0, "in", b""),))
    early = Recording(head={"started": "2026-03-01T10:30:00+01:00"})
    unknown = Recording()
    assert [part.offset_s for part in aligned([("a", late), ("b", early)])] == [2.5, 0.0]
    assert [part.offset_s for part in aligned([("a", late), ("b", unknown)])] == [0.0, 0.0]


OVEN = [str(path) for path in sorted((shipped.folder("sample_captures") / "kitchen" / "oven").glob("*.txt"))]


def job_of(recordings, *options):
    result = CliRunner().invoke(replay, ["--procedure", "microwave-oven", "--json", *options, *recordings])
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_a_whole_job_replays_the_same_with_nothing_assumed():
    assert job_of(OVEN) == job_of(OVEN, "--strict")
    assert len(job_of(OVEN)) > 25


def test_without_its_acts_a_whole_job_still_gives_what_was_measured():
    """All but what rests on a person's word: that the tips were on the points, that power is not measured."""
    hands_free = [(row["step"], row["value"]) for row in job_of([path for path in OVEN if "person" not in path])]
    with_acts = [(row["step"], row["value"], row["how"]) for row in job_of(OVEN)]
    unsaid = [(step, value) for step, value, how in with_acts if not how.endswith("contact said")]
    assert hands_free == [each for each in unsaid if each[0] != "heating-run"]


@pytest.mark.parametrize("name", sorted(path.stem for path in shipped.folder("sample_captures").glob("*.txt")))
def test_replay_hears_what_decoding_hears(name):
    """Polled or free-running, with its bytes in both directions."""
    read = parse((shipped.folder("sample_captures") / f"{name}.txt").read_text(), name)
    found = shipped.find(read.head["profile"], "profiles/instruments")
    profile = compile_profile(shipped.text_of(found), name)
    session = Session(procedure(step("a")), {"link": profile}, assume=REPLAY)
    heard = [
        event.outcome
        for event in play(session, [RecordedLink(source="link", recording=read)])
        if isinstance(event, LinkOutcome)
    ]
    assert heard == list(drive(profile.conversation(), read.events))


def test_the_manual_of_recordings_names_every_act_and_key(files):
    manual = (shipped.folder("sample_captures") / "README.md").read_text()
    row = json.loads(run(files, "--json").stdout.splitlines()[0])
    said = set(re.findall(r"`([a-z_]+(?: to)?)(?: [A-Z]+)?`", manual))
    assert set(WORDS) | set(row) <= said


def test_a_source_that_is_not_there_is_told(files):
    result = run(files, "--profile", "scale=handheld-segments")
    assert str(result.exception) == "no recording comes from 'scale'; there are: session"


def test_a_jurisdiction_or_an_entry_that_the_procedure_has_not_is_refused(files):
    assert str(run(files, "--where", "mars").exception) == "this procedure has no limits for 'mars'"
    assert str(run(files, "--plate", "rated power=9 W").exception) == "small asks for no 'rated power'"
