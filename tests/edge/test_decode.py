"""`meterlog decode`: one JSON object for each reading, rejected frame and run of skipped bytes."""

import json

from click.testing import CliRunner

from meterlog.cli.decode import decode

STREAM = b"23.5C\r\nT=+023.5C\r\n??T= OPEN C\r\nT=+02"


def test_json_is_a_row_for_each_outcome(tmp_path):
    file = tmp_path / "stream.bin"
    file.write_bytes(STREAM)
    result = CliRunner().invoke(decode, ["ascii-thermometer", str(file), "--json"], catch_exceptions=False)
    assert [json.loads(row) for row in result.stdout.splitlines()] == [
        {"kind": "rejected", "reason": "does not begin with 'T='", "offset": 0, "raw": STREAM[:7].hex()},
        {"kind": "reading", "quantity": "temperature", "value": "023.5", "bound": None, "edge": None, "unit": "degC",
         "mode": "", "flags": [], "channel": "main", "offset": 7, "raw": STREAM[7:18].hex()},
        {"kind": "skipped", "count": 2, "offset": 18},
        {"kind": "reading", "quantity": "temperature", "value": None, "bound": "open sensor", "edge": None,
         "unit": "degC", "mode": "", "flags": [], "channel": "main", "offset": 20, "raw": STREAM[20:31].hex()},
        {"kind": "rejected", "reason": "cut short: the stream ended", "offset": 31, "raw": STREAM[31:].hex()},
    ]  # fmt: skip
    assert result.stderr == "2 readings, 2 rejected, 2 bytes skipped\n"


def test_a_recording_is_decoded_like_its_bytes(tmp_path):
    file = tmp_path / "stream.txt"
    file.write_text(f"meterlog recording 1\n\n0.0 in {STREAM[:9].hex()}\n0.1 in {STREAM[9:].hex()}\n")
    result = CliRunner().invoke(decode, ["ascii-thermometer", str(file)], catch_exceptions=False)
    assert result.stdout.splitlines() == [
        "       0  rejected: does not begin with 'T='",
        "       7  023.5 degC temperature",
        "      18  skipped 2 bytes",
        "      20  open sensor degC temperature",
        "      31  rejected: cut short: the stream ended",
    ]


def test_frames_parted_by_silence_need_their_times(tmp_path):
    profile, file = tmp_path / "parted.yaml", tmp_path / "stream.bin"
    profile.write_text(
        "profile: parted\ntitle: P\nframe: {silence: 20 ms}\nreadings: [{bytes: 0..1, as: u16 big, unit: V}]\n"
    )
    file.write_bytes(bytes(8))
    result = CliRunner().invoke(decode, [str(profile), str(file)])
    assert str(result.exception).startswith(f"parted parts its frames by silence, and {file} holds no times\n")
