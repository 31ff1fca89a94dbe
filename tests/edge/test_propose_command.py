"""`meterlog profile propose` on files, and `learn` at a pseudo-terminal whose other end plays an instrument."""

import json
import os
import random
import re
import subprocess
import sys
import threading
import time

import dialects
import propose_trials
import pytest
from click.testing import CliRunner

from meterlog.cli.decode import decode
from meterlog.cli.profile import profile


@pytest.fixture
def made(tmp_path):
    stream = dialects.stream(1003)
    (tmp_path / "unknown.txt").write_text(propose_trials.recording(stream))
    return stream


def run(*words):
    return CliRunner().invoke(profile, [*map(str, words)])


def test_without_notes_it_tells_framing_and_check(made, tmp_path):
    result = run("propose", tmp_path / "unknown.txt", "--json")
    told = json.loads(result.stdout)
    assert result.exit_code == 0
    assert {"framing", "check", "transform", "states_known", "states_unknown"} <= set(told)
    assert told["framing"]["frames"] == len(made.frames)
    assert (told["check"] is not None) == bool(made.check)


def test_with_notes_a_profile_is_written_that_checks(made, tmp_path):
    rows = "".join(f"{t},{shows}\n" for t, shows in propose_trials.notes_of(made, 8, random.Random(1)))
    (tmp_path / "notes.csv").write_text("t_s,shows\n" + rows)
    out = tmp_path / "new-meter.yaml"
    result = run("propose", tmp_path / "unknown.txt", "--notes", tmp_path / "notes.csv", "-o", out)
    assert result.exit_code == 0, result.output
    assert "# noted at" in out.read_text()
    assert run("check", out).exit_code == 0


def test_nothing_to_propose_exits_with_1(tmp_path):
    (tmp_path / "few.txt").write_text("meterlog recording 1\n\n0.1 in 55 aa\n0.5 in 55 aa\n")
    result = run("propose", tmp_path / "few.txt")
    assert result.exit_code == 1
    assert "nothing is proposed: 2 bursts of bytes between pauses: at least 10 are needed" in result.output


def test_learning_at_a_port(tmp_path):
    """An instrument at a pseudo-terminal, whose person presses Enter and types; what was learned reads it."""
    ours, theirs = os.openpty()
    stop, showing = threading.Event(), [1234]

    def play():
        while not stop.is_set():
            os.write(ours, f"DC {showing[0] / 1000:.3f} V\r\n".encode())
            time.sleep(0.1)

    player = threading.Thread(target=play, daemon=True)
    player.start()
    out, kept = tmp_path / "learned.yaml", tmp_path / "kept.txt"
    learner = subprocess.Popen(
        [sys.executable, "-m", "meterlog", "profile", "learn", os.ttyname(theirs), "-o", out, "--recording", kept],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    try:
        wait_for_bytes(learner)
        for counts in (1234, 5871, 906):
            showing[0] = counts
            time.sleep(1.0)
            learner.stdin.write("\n")
            learner.stdin.flush()
            time.sleep(0.5)
            learner.stdin.write(f"{counts / 1000:.3f} V DC\n")
            learner.stdin.flush()
        time.sleep(0.5)
        told = learner.communicate("done\n", timeout=60)[0]
    finally:
        stop.set()
        player.join(timeout=2)
        learner.kill()
        os.close(ours)
        os.close(theirs)
    assert learner.returncode == 0, told
    assert re.search("All 1 states that were seen are known", told), told
    assert run("check", out).exit_code == 0
    decoded = CliRunner().invoke(decode, [str(out), str(kept)])
    assert {"1.234 V", "5.871 V", "0.906 V"} <= set(re.findall(r"\d\.\d{3} V", decoded.output))


def wait_for_bytes(learner):
    """Until the command has said that it listens, and enough has come for its frames."""
    assert "Nothing has come yet" in learner.stdout.readline()
    time.sleep(2.0)
