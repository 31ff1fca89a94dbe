"""A typed reading kept: judged, sealed, read again after a restart, marked wherever it is shown, and audited."""

import json
import sqlite3

import pytest
from click.testing import CliRunner
from edge.test_loop import Loop

from meterlog.cli import meterlog
from meterlog.report import sheets
from meterlog.report.reached import reached_from
from meterlog.store import audit
from meterlog.store.reader import reading
from meterlog.store.sqlite import open_reader

TEXT = """\
procedure: typed
title: An invented lamp
protection class: I
appliance: an invented lamp
source: invented
cautions: [isolate]
points:
  outside: {pin: the earth pin, metal: bare metal}
steps:
  - {step: earth, kind: measure, title: Protective conductor, points: [pin, metal], quantity: resistance,
     limits: [{is: at most 0.3 ohm, source: invented, mark: common practice}]}
  - {step: insulation, kind: measure, title: Insulation, points: [metal, pin], quantity: insulation_resistance,
     test voltage: 500 V, needs: [earth], limits: [{is: at least 1 Mohm, source: invented, mark: common practice}]}
"""
BORROWED = "0.36 ohm nulled ± 1 % on earth tester 25 A"


@pytest.fixture(scope="module")
def typed(tmp_path_factory):
    """A job with three typed readings, the first of them twice, over a restart of the daemon; its database."""
    folder = tmp_path_factory.mktemp("typed")
    (folder / "typed.yaml").write_text(TEXT)
    loop = Loop(folder)
    loop.ask(do="open job", procedure=str(folder / "typed.yaml"), ref="T-1")
    loop.reads()
    assert loop.act("type", text=BORROWED)["ok"]
    loop.act("go to", to="earth")
    assert loop.act("type", text="0,09 Ohm nulled ± 2 % + 3 digits on another tester")["ok"]
    loop.stop()
    again = Loop(folder)
    again.reads()
    assert again.walk()["step"] == "insulation", "what was typed opens the gate after a break too"
    assert again.act("type", text="> 200 Mohm ± 5 % on insulation tester")["ok"]
    again.stop()
    return again.db


def command(*words):
    done = CliRunner().invoke(meterlog, [str(word) for word in words])
    return done.stdout


def test_it_is_judged_kept_and_marked_in_the_tables(typed):
    rows = [json.loads(line) for line in command("job", "show", "T-1", "--json", "--db", typed).splitlines()]
    assert [(row["step"], row["shown"], row["typed"], row["outcome"]) for row in rows] == [
        ("earth", "0.09", "another tester", "pass"),
        ("insulation", "above 200", "insulation tester", "pass"),
    ]


def test_its_verdict_tells_who_showed_it(typed):
    first = command("verdict", "show", "1", "--db", typed)
    assert "Verdict 1: FAIL" in first
    assert "Capture   1: 0.36 ohm, typed from earth tester 25 A, accuracy 1 %" in first
    assert "Typed by hand" in first


def test_the_audit_reaches_it_again_and_finds_nothing(typed):
    db = open_reader(typed)
    try:
        assert [str(finding) for finding in audit.audit(db)] == []
    finally:
        db.close()


@pytest.mark.parametrize(
    ("old", "new", "finding"),
    [("0.36 ohm nulled", "0.26 ohm nulled", "typed was 0.26 ohm nulled"), ("1 %", "9 %", "verdict 1")],
)
def test_the_audit_finds_what_was_typed_otherwise(typed, tmp_path, old, new, finding):
    copy = tmp_path / "copy.db"
    with sqlite3.connect(typed) as source, sqlite3.connect(copy) as target:
        source.backup(target)
    triggers = target.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'event'")
    for (name,) in triggers.fetchall():
        target.execute(f"DROP TRIGGER {name}")
    target.execute("UPDATE event SET facts = replace(facts, ?, ?) WHERE kind = 'reading typed'", [old, new])
    target.commit()
    source.close()
    target.close()
    db = open_reader(copy)
    try:
        found = "\n".join(str(each) for each in audit.audit(db))
    finally:
        db.close()
    assert finding in found


def test_sheet_page_and_evidence_mark_it(typed):
    with reading(typed) as reader:
        paper = sheets.as_html(sheets.handover(reader, "T-1"))
        evidence = sheets.as_html(sheets.evidence(reader, "T-1"))
        chain = reached_from(reader, 1)
        captures = [kept.capture for kept in reader.captures(reader.job("T-1").id)]
    assert "<b>Protective conductor</b>: 0.36 Ω (typed) first, 0.09 Ω (typed) since; wanted at most 0.3 Ω." in paper
    assert "Insulation: <b>more than 200 MΩ (typed)</b>" in paper
    assert "Typed by hand, not sent by the instrument: 1 × another tester, 1 × insulation tester." in paper
    assert "0.36 Ω (typed)" in evidence
    assert "earth tester 25 A" in evidence
    assert chain.capture.capture.typed.instrument == "earth tester 25 A"
    assert [each.typed.instrument for each in captures] == ["earth tester 25 A", "another tester", "insulation tester"]


def test_it_stands_under_a_leaf_of_its_own(typed):
    db = open_reader(typed)
    try:
        kinds = [row[0] for row in db.execute(
            "SELECT f.kind FROM leaf f JOIN event e ON f.kind = 'event' AND f.subject = e.id "
            "WHERE e.kind = 'reading typed'"
        )]  # fmt: skip
    finally:
        db.close()
    assert kinds == ["event"] * 3
