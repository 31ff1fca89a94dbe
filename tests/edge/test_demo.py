"""The demo as a newcomer runs it: to its end, with the story's verdicts, and an audit that finds nothing."""

import json
import re
import signal
import threading
from pathlib import Path

import pytest
from edge.bench import run, wait_until
from players.segments import showing

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event
from meterlog.daemon.clock import Moment
from meterlog.demo import player
from meterlog.demo.player import Player, Terminal

README = Path(__file__).parents[2] / "README.md"
STORY = {  # what the invented scenario must come to, by job and step: outcomes in order
    ("kitchen-oven", "diode-forward"): ["fail", "pass"],
    ("kitchen-oven", "diode-reverse"): ["fail", "pass"],
    ("kitchen-oven", "protective-conductor"): ["undecided"],
    ("kitchen-oven", "insulation"): ["pass"],
    ("kitchen-oven", "heating-run"): ["pass"],
    ("kitchen-urn", "element-power"): ["pass"],
    ("kitchen-urn", "element-insulation"): ["fail"],
}


def test_the_demo_tells_the_invented_story(played):
    _, done = played
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    found = {}
    for row in rows:
        found.setdefault((row["job"], row["step"]), []).append(row["outcome"])
    assert {key: found.get(key) for key in STORY} == STORY, done.stderr


def test_the_heated_water_tells_the_power_that_was_played(played):
    """885 W went into the invented water for 62 s (tests/make_samples.py); the clock's start and stop add their own."""
    database, done = played
    row = next(json.loads(line) for line in done.stdout.splitlines() if '"heating-run"' in line)
    trail = json.loads(run("verdict", "show", str(row["verdict"]), "--json", "--db", str(database), check=False).stdout)
    result, (started, stopped) = trail["result"], trail["capture"]["heating_s"]
    played_w = 885.0 * 62.0 / (stopped - started)
    assert abs(result["value"] - played_w) < 2 * result["expanded_uncertainty"]
    assert row["shown"] is None, "no one reading out of it is what a run showed"


def test_the_readme_shows_the_verdict_on_the_watts(played):
    told = re.search(r"watts.*?meterlog verdict show (\d+) --db", README.read_text(), re.DOTALL)[1]
    row = next(json.loads(line) for line in played[1].stdout.splitlines() if '"heating-run"' in line)
    assert int(told) == row["verdict"]


def test_its_audit_finds_nothing(played):
    database, _ = played
    done = run("audit", "--db", str(database))
    assert done.stderr.endswith("findings: none\n")


def test_a_verdict_goes_down_to_the_bytes(played):
    database, _ = played
    done = run("verdict", "show", "26", "--db", str(database), check=False)
    shown = done.stdout
    assert done.returncode == 1, "a fail answers no"
    for words in ("Verdict 26: FAIL", "source:", "014.6 ohm", "13 27 3d", "Profile   sha256", "Procedure sha256"):
        assert words in shown


def test_a_method_takes_kept_captures(played):
    database, _ = played
    inputs = ("above=kitchen-oven/secondary", "below=kitchen-oven/primary")
    done = run("evaluate", "ratio", *inputs, "--db", str(database), "--json")
    secondary, primary, leads = 108.6, 1.6, 0.1  # played by the demo, as its displays showed them
    assert json.loads(done.stdout)["value"] == pytest.approx((secondary - leads) / (primary - leads), abs=0.001)
    assert "gain of the meter" in done.stdout
    missing = run("evaluate", "ratio", "above=kitchen-oven/none", "below=1 ohm", "--db", str(database), check=False)
    assert missing.stderr.startswith("step 'none' of job kitchen-oven has no capture\n")


def test_the_clock_stands_still_until_what_was_played_is_heard(tmp_path, bench):
    """A daemon that stands still for longer than the instrument pauses finds no silence, and times what it heard."""
    terminal = Terminal()
    moment = Moment.made(tmp_path / "clock", 1000.0)
    daemon = bench({"meter": ("handheld-segments", terminal.path)}, "--played-clock", str(tmp_path / "clock"))
    wait_until(lambda: daemon.link("meter")["state"] == "listening", "the link open")
    player = Player({"meter": terminal}, moment, daemon.db, speed=50.0)
    daemon.process.send_signal(signal.SIGSTOP)
    going_on = threading.Timer(1.0, daemon.process.send_signal, [signal.SIGCONT])
    going_on.start()
    player.play([(at, "meter", Event(at, "in", data=showing("ohm", 17.9))) for at in (0.25, 0.5, 0.75)])
    going_on.join()
    daemon.stop()
    times = [row[0] for row in daemon.rows("SELECT utc FROM readings ORDER BY id")]
    assert times == [f"1970-01-01 00:16:40.{ms}" for ms in (250, 500, 750)]
    assert daemon.rows("SELECT count(*) FROM event WHERE kind = 'link silent'") == [(0,)]


def test_an_act_that_the_bench_does_not_take_ends_the_demo_in_words(monkeypatch, tmp_path):
    """A refused act would shift all that follows: no half story is shown as the whole."""

    def refuse(*_, **__):
        raise CannotDo("Nothing waits to be confirmed.", "see what is asked")

    monkeypatch.setattr(player, "status_of", refuse)
    moment = Moment.made(tmp_path / "clock", 0.0)
    with pytest.raises(CannotDo) as ended:
        Player({}, moment, tmp_path / "demo.db", 20.0).play([(0.0, "multimeter", Event(0.0, "act", word="press"))])
    words = "'press' was played, and not taken: Nothing waits to be confirmed.\n  see what is asked"
    assert str(ended.value) == words
