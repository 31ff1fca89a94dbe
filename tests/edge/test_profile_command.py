"""`meterlog profile`: what it says to whoever writes a profile."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from meterlog.cli.profile import profile
from meterlog.profile.tools.drafts import KINDS

SHIPPED = Path(__file__).parents[2] / "profiles" / "instruments"
SAMPLES = Path(__file__).parents[2] / "sample_captures"


def run(*arguments):
    return CliRunner().invoke(profile, [str(a) for a in arguments])


def test_check_tells_what_is_proved_and_what_is_not():
    path = SHIPPED / "ascii-thermometer.yaml"
    lines = run("check", path).stdout.splitlines()
    assert lines[0] == f"{path}: ascii-thermometer, 6 examples, no problem"
    assert lines[1].startswith("  risk: no check: damage is noticed only where")
    assert lines[2].startswith("  risk: tried: 11,220 frames with one changed byte; ")
    assert len(lines) == 3


def test_check_warns_of_what_examples_never_reach(tmp_path):
    text = (SHIPPED / "ascii-thermometer.yaml").read_text()
    file = tmp_path / "mine.yaml"
    file.write_text("\n".join(line for line in text.splitlines() if "F<CR>" not in line))
    assert "  warning: no example reaches unit 'F'" in run("check", file).stdout.splitlines()


def test_check_warns_of_readings_that_share_a_channel(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text(
        'profile: mine\ntitle: Mine\nframe: {end: <LF>}\ntext: "{a} {b}"\n'
        "readings: [{value: a, unit: V}, {value: b, unit: Hz}]\n"
    )
    assert run("check", file).stdout.splitlines()[1] == (
        "  warning: readings 1 and 2 of reading share the channel 'main': give each its own, "
        "for a channel is one display"
    )


def test_check_of_a_wrong_profile_exits_1_with_its_place(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text("profile: mine\ntitle: Mine\nfraem: {end: <LF>}\nreadings: [{value: x}]\n")
    result = run("check", file)
    assert result.exit_code == 1
    assert result.stderr == (
        f"{file}:3:1: fraem\n  expected  a key of profile\n  saw       fraem\n  hint      did you mean 'frame'?\n"
    )


def test_check_as_json(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text("profile: mine\ntitle: Mine\nframe: {end: <LF>}\n")
    report = json.loads(run("check", file, "--json").stdout)
    assert [(p["line"], p["expected"]) for p in report["problems"]] == [
        (1, "the key 'readings': the values that a frame shows")
    ]


def test_explain_shows_bytes_fields_and_lines():
    result = run("explain", "handheld-digits", "--frame", "00420300<0x38><CR><LF>")
    assert result.stdout.splitlines() == [
        "frame at 0, 11 bytes",
        "     0  30 30 34 32 30 33 30 30 38 0d 0a                 004203008..",
        "  message reading   [line 1]",
        "  byte 0       30                       range = '0', 600.0 ohm   [line 12]",
        "  bytes 1..4   30 34 32 30              digits = 420 (0x1A4)   [line 22]",
        "  byte 5       33                       function = '3', resistance   [line 24]",
        "  bit 8.3      1                        flag auto range",
        "  shows   42.0 ohm resistance (auto range)",
    ]


def test_explain_shows_where_a_frame_failed():
    result = run("explain", "handheld-digits", "--frame", "70420300<0x38><CR><LF>")
    assert (
        "  byte 0       37                       range = '7', no meaning for '3' with '7'   [line 12]" in result.stdout
    )
    assert "  rejected: range: no meaning for '3' with '7'" in result.stdout


def test_try_finds_the_profile_of_a_recording():
    result = run("try", SAMPLES / "weighing-scale.txt", "--json")
    rows = [json.loads(line) for line in result.stdout.splitlines()]
    assert rows[0] == {"profile": "weighing-scale", "readings": 24, "rejected": 0, "skipped": 0}
    assert all(row["readings"] == 0 for row in rows[1:])


def test_try_of_a_stranger_says_what_to_do(tmp_path):
    file = tmp_path / "strange.bin"
    file.write_bytes(bytes(range(256)))
    result = run("try", file)
    assert result.exit_code == 1
    assert result.stderr == "no profile makes a reading of it; record it, and begin one: meterlog profile new\n"


@pytest.mark.parametrize("kind", KINDS)
def test_a_new_profile_has_no_problem(kind, tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text(run("new", kind, "--key", "mine").stdout)
    result = run("check", file)
    assert (result.exit_code, result.stderr) == (0, "")


def test_the_schema_knows_every_key_at_the_top():
    schema = json.loads(run("schema").stdout)
    assert {"profile", "line", "ask", "frame", "check", "messages", "readings", "examples"} <= set(schema["properties"])
    assert schema["required"] == ["profile", "title"]
