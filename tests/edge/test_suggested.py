"""A suggestion on the bench page and in the record: what is shown, when it is kept, what it rests on, its audit."""

from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
import records
from core.diagnosis.test_advice import TEXT
from edge.asked import ask
from edge.bench import Daemon, Wire, wait_until

from meterlog.base.errors import WrongValue
from meterlog.procedure.language import read_procedure
from meterlog.record.kept import ActRecord
from meterlog.record.suggested import Basis, basis_of, kept_suggestion, suggestion_differs
from meterlog.store.audit import audit
from meterlog.store.reader import reading
from meterlog.store.sqlite import open_reader
from meterlog.web import serve

OVEN = read_procedure(records.OVEN.read_text(), records.OVEN.name)
PLATE = read_procedure(TEXT, "warm-plate.yaml")


@pytest.fixture
def bench(tmp_path):
    wire = Wire()
    (tmp_path / "warm-plate.yaml").write_text(TEXT)
    daemon = Daemon(tmp_path, {"multimeter": ("handheld-segments", wire.path)})
    wait_until(lambda: daemon.link("multimeter")["state"] in ("listening", "silent"), "the link open")
    yield daemon
    daemon.stop()
    wire.pull()


def opened(daemon, **plate):
    procedure = str(daemon.db.parent / "warm-plate.yaml")
    daemon.ask(
        "open job", procedure=procedure, ref="S-1", plate={name.replace("_", " "): v for name, v in plate.items()}
    )


def kept(daemon):
    with reading(daemon.db) as reader:
        return reader.acts(kinds=["suggested"])


def page(daemon):
    return unescape(ask(serve.application(daemon.db), "/bench").text)


def test_what_a_page_suggested_is_kept_with_what_was_done(bench):
    opened(bench, kind_of_complaint="Stays cold")
    bench.act("acknowledge")
    bench.act("confirm")
    text = page(bench)
    assert "First: No charge between the pins; then: Plug pin to pin" in text
    assert 'name="suggested" value="plug-dead"' in text
    assert "2 of its 3 weights are guesses." in text
    bench.act("go to", to="plug-dead")
    assert kept(bench) == [], "an act from where nothing was suggested keeps none"
    walk = bench.ask("status")["status"]["walk"]
    tap = {name: walk[name] for name in ("job", "step", "phase")} | {"id": "a-tap-of-its-own", "word": "go to"}
    for _ in range(2):  # sent again, as a page does that got no answer
        bench.ask("act", **tap, to="element", suggested="plug-dead")
    (act,) = kept(bench)
    told = {name: act.facts[name] for name in ("complaint", "outcomes", "next", "page_showed", "done", "runners_up")}
    assert told == {
        "complaint": "cold", "outcomes": {"isolation": "looked"}, "next": "plug-dead", "page_showed": "plug-dead",
        "done": "went to element", "runners_up": [],
    }  # fmt: skip
    with open_reader(bench.db) as db:
        assert [finding for finding in audit(db) if not finding.remark] == []


def test_a_complaint_is_chosen_on_the_page_and_told_again_after_a_part(bench):
    opened(bench)
    text = page(bench)
    assert "What the owner says" in text
    assert 'name="suggested"' not in text
    bench.ask("enter", entries={"kind of complaint": "cold"})
    assert '<option value="element">' in page(bench), "the names that the procedure states are offered"
    bench.ask("part fitted", part="Element", suggested="")
    (act,) = kept(bench)
    assert (act.facts["done"], act.facts["complaint"]) == ("fitted Element", "cold")
    assert "Element: fitted since. If the complaint is still there after it, say so again." in page(bench)
    bench.ask("enter", entries={"kind of complaint": "cold"})
    with reading(bench.db) as reader:
        basis = basis_of(reader, "S-1", PLATE, {})
    assert (basis.question.renewed, basis.fitted) == (("element",), ())
    assert "less than 1 in 10" in page(bench)
    with pytest.raises(WrongValue, match="kind of complaint: allowed here: cold, trips"):
        bench.ask("enter", entries={"kind of complaint": "smells"})


def test_a_procedure_without_faults_asks_for_no_complaint(tmp_path):
    path = records.make(tmp_path / "bench.db")
    with reading(path) as reader:
        basis = basis_of(reader, "K-7", replace(OVEN, diagnosis=None), {})
    assert (basis.question.complaint, basis.question.renewed) == ("", ())


@pytest.fixture(scope="module")
def renewed(tmp_path_factory):
    """An oven whose diode failed, was renewed in vain, and hums still; one suggestion is kept before and one after."""
    path = tmp_path_factory.mktemp("renewed") / "bench.db"
    player = records.Bench(path)
    records.play_job(player, "R-1", {}, until=8, **{"kind of complaint": "no-heat"})
    job, _ = player.writer.resume_job("R-1")
    player.at += 60.0
    player.writer.event("part fitted", player.now, {"part": "high-voltage diode", "check": ""}, job=job)
    player.writer.event("entries", player.now, {"entries": {"kind of complaint": "no-heat"}}, job=job)
    player.writer.close(player.now)
    return Path(path)


def test_what_was_measured_of_a_part_that_is_gone_is_no_evidence(renewed):
    with reading(renewed) as reader:
        keys = {step.id: step.key for step in reader.steps(1)}
        states = {keys[verdict.step]: verdict.outcome for verdict in reader.verdicts(1)}
        basis = basis_of(reader, "R-1", OVEN, states)
    of_it = {c.step for c in OVEN.diagnosis.checks if {"diode-shorted", "diode-open"} & set(c.finds)}
    assert of_it & set(states), "there was something to be left out"
    assert set(basis.question.outcomes) == set(states) - of_it
    assert basis.question.renewed == ("high-voltage diode",)
    assert set(basis.verdicts) <= set(basis.question.outcomes)


CHANGED = [  # a fact of a kept suggestion, what it is changed into, what the audit says
    ("next", "magnetron", "next: was"),
    ("why", "Next: nothing.", "why: was"),
    ("runners_up", ["x", "y"], "runners_up: was"),
    ("stop", True, "stop: was"),
    ("verdicts", {"fuse": 4711}, "rests on 'pass' of fuse, which verdict 4711 does not say"),
    ("outcomes", {"fuse": "fail"}, "rests on 'fail' of fuse"),
]


@pytest.mark.parametrize(("name", "value", "says"), CHANGED, ids=[name for name, *_ in CHANGED])
def test_the_audit_reaches_a_suggestion_again(renewed, name, value, says):
    with reading(renewed) as reader:
        fuse = next(step.id for step in reader.steps(1) if step.key == "fuse")
        number = next(verdict.id for verdict in reader.verdicts(1) if verdict.step == fuse)
        question = basis_of(reader, "R-1", OVEN, {"fuse": "pass"}).question
        facts = kept_suggestion(OVEN, Basis(question=question, verdicts={"fuse": number}, fitted=()), "", "went to x")
        nowhere = {"boot": "", "step": None, "link": None, "who": "", "whence": "", "commit": None}
        act = ActRecord(id=1, kind="suggested", at_utc_ms=0, monotonic_ms=0, job=1, facts=facts, **nowhere)
        assert suggestion_differs(reader, OVEN, act) == []
        found = suggestion_differs(reader, OVEN, replace(act, facts={**facts, name: value}))
    assert any(says in each for each in found)
