"""An appliance of class II under a procedure that asks for its class: skipped in writing, and gone on."""

import pytest
from edge.test_loop import Loop

from meterlog.record import overview
from meterlog.record.outcome import Word
from meterlog.report import sheets
from meterlog.store.reader import reading

TEXT = """\
procedure: lamp
title: An invented lamp
appliance: an invented lamp
source: invented
cautions: [isolate]
asked: {cord length: length, protection class: words}
points:
  outside: {pin: the earth pin, metal: bare metal}
steps:
  - {step: earth, kind: measure, title: Protective conductor, points: [pin, metal], quantity: resistance,
     method: protective conductor, with: {length: cord length}}
  - {step: insulation, kind: measure, title: Insulation, points: [metal, pin], quantity: insulation_resistance,
     method: insulation by class, with: {protection class: protection class}, needs: [earth]}
  - {step: works, kind: look, title: It lights, energised: true, cautions: [attend], needs: [earth, insulation]}
"""


@pytest.fixture
def loop(tmp_path):
    (tmp_path / "lamp.yaml").write_text(TEXT)
    made = Loop(tmp_path)
    made.ask(do="open job", procedure=str(tmp_path / "lamp.yaml"), ref="C-1", plate={"cord length": "2 m"})
    made.reads()
    yield made
    made.stop()


def outcome(loop):
    with reading(loop.db) as reader:
        return overview.outcome(reader, "C-1")


def test_skipped_alone_the_gate_stays_shut_and_the_way_on_is_told(loop):
    assert loop.act("skip", text="double square on the plate")["walk"]["needs"] == ["earth"]
    loop.ask(do="enter", entries={"protection class": "I"})
    assert loop.walk()["phase"] == "gate"
    lines = overview.outcome_lines(outcome(loop))
    assert (
        "  earth: Protective conductor: skipped (double square on the plate); an appliance of class II has none: "
        'enter "protection class=II", and skip it with the double square on the plate as the reason'
    ) in lines


def test_once_class_ii_is_entered_it_goes_on_to_a_whole_job(loop):
    loop.act("skip", text="double square on the plate")
    loop.ask(do="enter", entries={"protection class": "II"})
    assert (loop.walk()["step"], loop.walk()["phase"]) == ("insulation", "watch")
    assert loop.act("type", text="> 200 Mohm ± 5 % on insulation tester")["ok"]
    loop.reads()
    assert loop.act("confirm")["ok"]
    found = outcome(loop)
    assert found.word is Word.PASSED
    with reading(loop.db) as reader:
        paper = sheets.as_html(sheets.handover(reader, "C-1"))
    assert "<dt>protection class</dt><dd>II</dd>" in paper
    assert "Not of its class, skipped:</b> Protective conductor (“double square on the plate”)" in paper
    assert [(check.key, check.words) for check in found.open] == [("earth", "not of its class, skipped")]


def test_the_class_alone_skips_nothing(loop):
    loop.ask(do="enter", entries={"protection class": "II"})
    loop.act("go to", to="insulation")
    loop.reads()
    assert loop.walk()["needs"] == ["earth"]


def test_entered_otherwise_later_the_gate_is_shut_again(loop):
    loop.ask(do="enter", entries={"protection class": "II"})
    loop.act("skip", text="double square on the plate")
    assert loop.walk()["phase"] == "watch"
    loop.ask(do="enter", entries={"protection class": "I"})
    loop.act("go to", to="works")
    loop.reads()
    assert loop.walk()["needs"] == ["earth", "insulation"]
    assert outcome(loop).word is Word.UNFINISHED
