"""The demo as a newcomer runs it: to its end, with the story's verdicts, and an audit that finds nothing."""

import json

import pytest
from edge.bench import run

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event
from meterlog.demo import player, show
from meterlog.demo.player import LostPace

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


def test_a_demo_that_lost_its_pace_is_begun_anew_half_as_fast(monkeypatch, tmp_path):
    tried, words = [], []

    def stalls(playing, folder, speed, told):
        assert not list(folder.iterdir())
        (folder / "demo.db").write_text("half a story")
        tried.append(speed)
        if len(tried) < stalled:
            raise LostPace("the demo lost its pace")
        return folder / "demo.db"

    monkeypatch.setattr(show, "_played", stalls)
    stalled = 3
    show.run_demo(tmp_path / "slow", 20.0, words.append)
    assert tried == [20.0, 10.0, 5.0]
    assert words[1:] == [
        "the machine stalled, and 20 times is too fast for it: begun anew, half as fast",
        "the machine stalled, and 10 times is too fast for it: begun anew, half as fast",
    ]
    tried.clear()
    stalled = 4
    with pytest.raises(LostPace):
        show.run_demo(tmp_path / "slowest", 20.0, words.append)


def test_a_demo_that_lost_its_pace_ends_in_words(monkeypatch, tmp_path):
    """On a machine that stalls, a missed contact would shift all that follows: no half story is shown as the whole."""

    def refuse(*_, **__):
        raise CannotDo("Nothing waits to be confirmed.")

    monkeypatch.setattr(player, "ask", refuse)
    monkeypatch.setattr(player, "ACCEPTED_WITHIN_S", 0.0)
    with pytest.raises(CannotDo) as ended:
        player.play([(0.0, "multimeter", Event(0.0, "act", word="press"))], {}, tmp_path / "demo.db", 20.0)
    assert str(ended.value).startswith("the demo lost its pace, as on a busy machine: 'press' was not taken. Nothing")
    assert ended.value.hint == "play it slower: meterlog demo --speed 10"
