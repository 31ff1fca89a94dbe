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
    last = run("check", file).stdout.splitlines()[-1]
    assert last == "  warning: no example reaches temperature 'OL' (special), unit 'F'"


def test_check_warns_of_readings_that_share_a_channel(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text(
        'profile: mine\ntitle: Mine\nframe: {end: <LF>}\ntext: "{a} {b}"\n'
        "readings: [{value: a, unit: V}, {value: b, unit: Hz}]\n"
    )
    assert run("check", file).stdout.splitlines()[2] == (
        "  warning: readings 1 and 2 of reading share the channel 'main': give each its own, "
        "for a channel is one display"
    )


def test_check_warns_of_an_overload_whose_range_has_no_end():
    warning = (
        "  warning: resistance: its overload says nothing without the range's end:"
        ' write for example "up to 40 Mohm" where the range is told, or an open circuit can\'t be judged'
    )
    assert warning in run("check", SHIPPED / "scpi-multimeter.yaml").stdout.splitlines()
    assert warning not in run("check", SHIPPED / "handheld-segments.yaml").stdout.splitlines()


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


WRONG_EXAMPLE = """\
profile: mine
title: Mine
frame: {start: "#", end: <LF>}
check: {kind: sum-8, at: -2..-1, as: hex}
text: "#{value}V{_}"
readings: [{value: value, unit: V}]
examples:
  - {frame: "#1.50V00<LF>", shows: 1.50 V}
"""


def test_explain_shows_the_fields_of_an_example_whose_check_fails(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text(WRONG_EXAMPLE)
    result = run("explain", file, "--frame", "#1.50V00<LF>")
    assert result.exit_code == 0
    assert "value = 1.50" in result.stdout
    assert "rejected: check in bytes -2..-1: expected 0x" in result.stdout
    assert result.stderr == f"{file}: an example fails; see: meterlog profile check {file}\n"


def test_rows_that_no_example_reaches_are_folded(tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text(
        "profile: mine\ntitle: Mine\nframe: {start: hex AA, length: 4}\n"
        "fields: {f: {byte: 1, means: {1: dc voltage in V, 2: ac voltage in V, 3: resistance in ohm}}}\n"
        "bits: {3.0: flag hold, 3.1: flag auto range}\nreadings: [{byte: 2, special: {255: overload}}]\n"
        "examples: [{frame: hex AA 01 05 00, shows: 5 V}]\n"
    )
    lines = run("check", file).stdout.splitlines()
    assert lines[1].startswith("  risk: no check: ")
    assert lines[-1] == (
        "  warning: no example reaches the value 0xFF (special), f 0x02, f 0x03 and 2 more (--all lists them)"
    )
    assert (
        run("check", file, "--all").stdout.splitlines()[-1].endswith("bit 3.0 (flag hold), bit 3.1 (flag auto range)")
    )
