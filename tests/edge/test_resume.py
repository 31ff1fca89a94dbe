"""A job goes on after the daemon was killed: what was captured stands, what was proved dead does not."""

import time

import pytest
from edge.bench import Daemon, Wire, run, wait_until
from players.segments import showing

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event
from meterlog.daemon.clock import Moment
from meterlog.demo.player import Player

PROCEDURE = """\
procedure: invented-check
title: An invented check
appliance: an invented heater
source: invented
cautions: [isolate]
points:
  outside:
    plug line pin: the plug's line pin
    plug neutral pin: the plug's neutral pin
steps:
  - step: lead-check
    kind: leads
    title: Probe tips pressed together
    limits:
      - {is: at most 1 ohm, source: invented, mark: common practice}
  - step: looked
    kind: look
    title: Looked over
  - step: element
    kind: measure
    title: Element
    points: [plug line pin, plug neutral pin]
    quantity: resistance
    limits:
      - {is: 10 .. 30 ohm, source: invented, mark: common practice}
"""


@pytest.fixture
def bench(tmp_path):
    wire = Wire()
    (tmp_path / "check.yaml").write_text(PROCEDURE)
    moment = Moment.made(tmp_path / "clock", time.time())
    daemon = Daemon(
        tmp_path, {"multimeter": ("handheld-segments", wire.path)}, "--played-clock", str(tmp_path / "clock")
    )
    daemon.player = Player({"multimeter": wire}, moment, daemon.db, speed=50.0)
    yield daemon, tmp_path / "check.yaml"
    if daemon.process.poll() is None:
        daemon.stop()
    wire.pull()


def touch(daemon, ohms, step):
    """Leads apart, on the points for long enough, apart again: the step is captured."""
    shown = [showing("ohm", value) for value, times in ((None, 8), (ohms, 20), (None, 8)) for _ in range(times)]
    daemon.player.play(
        [(0.25 * n, "multimeter", Event(0.25 * n, "in", data=data)) for n, data in enumerate(shown, start=1)]
    )
    walk = daemon.ask("status")["status"]["walk"]
    assert next(each for each in walk["steps"] if each["key"] == step)["captures"] == 1


def test_a_job_goes_on_after_a_kill(bench):
    daemon, procedure = bench
    wait_until(lambda: daemon.link("multimeter")["state"] in ("listening", "silent"), "the link open")
    daemon.ask("open job", procedure=str(procedure), ref="R-1", personal={"owner": "invented"})
    daemon.act("acknowledge")
    touch(daemon, 0.2, "lead-check")
    daemon.act("confirm")
    daemon.kill()
    daemon.start()
    status = daemon.ask("status")["status"]
    assert status["job"]["ref"] == "R-1"
    states = {step["key"]: step["state"] for step in status["walk"]["steps"]}
    assert states == {"lead-check": "pass", "looked": "looked", "element": ""}
    daemon.act("acknowledge")
    touch(daemon, 17.9, "element")
    daemon.ask("close job")
    assert daemon.ask("status")["status"]["job"] is None
    daemon.stop()
    outcomes = daemon.rows("SELECT step, outcome FROM verdicts ORDER BY id")
    assert outcomes == [("lead-check", "pass"), ("element", "pass")]
    assert run("audit", "--db", str(daemon.db)).stderr.endswith("findings: none\n")
    assert daemon.rows("SELECT count(*) FROM event WHERE kind = 'job resumed'") == [(1,)]


def test_what_is_found_wanting_is_said_and_the_owner_can_be_erased(bench):
    daemon, procedure = bench
    daemon.ask("open job", procedure=str(procedure), ref="R-3", personal={"owner": "Invented Owner"})
    db = ["--db", str(daemon.db)]
    run("job", "acknowledge", *db)
    run("job", "go", "looked", *db)
    run("job", "wanting", "cord scorched", *db)
    state = {step["key"]: step["state"] for step in daemon.ask("status")["status"]["walk"]["steps"]}
    assert state["looked"] == "found wanting"
    assert run("job", "erase", "R-3", "--yes", *db).stderr == "1 personal fields erased\n"
    assert daemon.rows("SELECT count(*) FROM disclosure") == [(0,)]


def test_an_entry_learned_later_is_kept_over_a_kill(bench):
    daemon, _ = bench
    daemon.ask("open job", procedure="kettle-or-urn", ref="R-4", plate={"rated power": "2000 W"})
    db = ["--db", str(daemon.db)]
    run("job", "enter", "water mass=1000 g ± 2 g", *db)
    refused = run("job", "enter", "water mass=1000", *db, check=False)
    assert (refused.returncode, "water mass" in refused.stderr) == (2, True), refused.stderr
    run("job", "acknowledge", *db)
    run("job", "go", "heating-run", *db)
    assert daemon.ask("status")["status"]["walk"]["asks"] == {"vessel": "words"}
    daemon.kill()
    daemon.start()
    run("job", "acknowledge", *db)
    run("job", "go", "element-power", *db)
    assert set(daemon.ask("status")["status"]["walk"]["asks"]) == {"rated voltage", "hot over cold"}
    assert daemon.rows("SELECT facts FROM event WHERE kind = 'entries'") == [
        ('{"entries":{"water mass":"1000 g ± 2 g"}}',)
    ]


def test_a_closed_job_is_not_resumed(bench):
    daemon, procedure = bench
    daemon.ask("open job", procedure=str(procedure), ref="R-2")
    daemon.ask("close job")
    daemon.stop()
    daemon.start()
    assert daemon.ask("status")["status"]["job"] is None


def test_several_jobs_are_open_and_one_is_at_hand(bench):
    daemon, procedure = bench
    db = ["--db", str(daemon.db)]
    daemon.ask("open job", procedure=str(procedure), ref="A/1")
    run("job", "acknowledge", *db)
    run("job", "go", "looked", *db)
    run("job", "confirm", *db)
    refused = run("job", "open", str(procedure), "--ref", "B-1", *db, check=False)
    assert refused.stderr.splitlines()[0] == "job A/1 is at hand"
    run("job", "aside", "--reason", "waits for the element", *db)
    assert daemon.ask("status")["status"]["job"] is None
    daemon.ask("open job", procedure=str(procedure), ref="B-1")
    assert run("job", "take", "A/1", *db, check=False).stderr.splitlines()[0] == "job B-1 is at hand"
    with pytest.raises(CannotDo, match="that was meant for job A/1; job B-1 is at hand: nothing was done"):
        daemon.ask("close job", job="A/1")
    daemon.kill()
    daemon.start()
    assert daemon.ask("status")["status"]["job"]["ref"] == "B-1"
    daemon.ask("close job", job="B-1")
    run("job", "take", "A/1", *db)
    status = daemon.ask("status")["status"]
    assert (status["job"]["ref"], status["walk"]["steps"][1]["state"]) == ("A/1", "looked")
    run("job", "close", "--yes", *db)
    assert run("job", "take", "A/1", *db, check=False).stderr.splitlines()[0] == "job A/1 was closed"
    run("job", "take", "A/1", "--reason", "came back", *db)
    daemon.kill()
    daemon.start()
    assert daemon.ask("status")["status"]["job"]["ref"] == "A/1"
    assert daemon.rows(
        "SELECT kind, json_extract(facts, '$.reason') FROM event WHERE kind LIKE 'job %' ORDER BY id"
    ) == [
        ("job opened", None),
        ("job laid aside", "waits for the element"),
        ("job opened", None),
        ("job resumed", None),
        ("job closed", None),
        ("job taken up", ""),
        ("job closed", None),
        ("job taken up", "came back"),
        ("job resumed", None),
    ]
    daemon.stop()
    assert run("audit", "--db", str(daemon.db)).stderr.endswith("findings: none\n")


OF_THE_PLATE = PROCEDURE.replace("points:\n", "plate: {rated value: resistance}\npoints:\n", 1).replace(
    "is: 10 .. 30 ohm,", "is: rated value ± 10 %,"
)


def test_an_entry_learned_later_judges_again_and_says_so(bench):
    daemon, _ = bench
    daemon.db.with_name("plate.yaml").write_text(OF_THE_PLATE)
    wait_until(lambda: daemon.link("multimeter")["state"] in ("listening", "silent"), "the link open")
    daemon.ask("open job", procedure=str(daemon.db.with_name("plate.yaml")), ref="P-1")
    daemon.act("acknowledge")
    touch(daemon, 0.2, "lead-check")
    daemon.act("confirm")
    touch(daemon, 17.9, "element")
    assert daemon.rows("SELECT step, outcome FROM verdicts ORDER BY id")[1:] == [("element", "not judged")]
    walk = daemon.ask("enter", entries={"rated value": "18 ohm"})["walk"]
    assert walk["steps"][2]["state"] == "pass"
    of_element = (
        "SELECT outcome, reason, supersedes FROM verdict WHERE step = (SELECT id FROM step WHERE key = 'element')"
    )
    first, second = daemon.rows(f"{of_element} ORDER BY id")
    assert (first, second[:2]) == (("not judged", "", None), ("pass", "entered since: rated value 18 ohm"))
    assert second[2] is not None
    daemon.stop()
    assert run("audit", "--db", str(daemon.db)).stderr.endswith("findings: none\n")


def test_parts_and_work_stand_on_the_sheet(bench):
    daemon, procedure = bench
    db = ["--db", str(daemon.db)]
    run("job", "open", str(procedure), "--ref", "W/1", "--plate", "make=Invented", "--plate", "model=K 7", *db)
    run("job", "fitted", "element", "--marking", "24R <i>", "--why", "same power", "--check", "element", *db)
    run("job", "did", "plug replaced", *db)
    nowhere = run("job", "fitted", "element", "--check", "elment", *db, check=False)
    assert nowhere.stderr == "this procedure has no step 'elment'\n  did you mean 'element'?\n"
    html = run("report", "W/1", "--to", "-", *db).stdout
    assert "Not finished: Looked over (not done)." in html
    assert (
        "<b>element</b>, marked “24R &lt;i&gt;”; it may stand in because: same power; its check, Element: not done."
    ) in html
    for words in ("<p>plug replaced</p>", "<dt>make</dt><dd>Invented</dd>", "<dt>model</dt><dd>K 7</dd>"):
        assert words in html
