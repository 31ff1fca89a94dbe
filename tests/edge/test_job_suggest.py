"""`meterlog job suggest` on a kept job: what was measured counts, and nothing is written."""

import json

import records
from click.testing import CliRunner

from meterlog.cli.job import job


def test_what_a_job_measured_leads_to_the_next_check(tmp_path):
    path = records.make(tmp_path / "bench.db")
    before = path.read_bytes()
    result = CliRunner().invoke(job, ["suggest", "K-9", "--complaint", "no-heat", "--json", "--db", str(path)])
    told = json.loads(result.stdout)
    assert result.exit_code == 0, result.output
    assert told["next"] == "lead-check"  # looked at, leads and the dead appliance never proved: that comes before any
    assert told["why"].startswith("First: Probe tips pressed together; then: ")
    assert "already" not in told["why"], "what was set up before the proofs may be gone"
    assert {part["part"] for part in told["parts"]} >= {"magnetron", "something else"}
    assert path.read_bytes() == before


def test_an_unknown_complaint_is_told(tmp_path):
    path = records.make(tmp_path / "bench.db")
    result = CliRunner().invoke(job, ["suggest", "--complaint", "smells", "--db", str(path)])
    assert "has no complaint 'smells': allowed here: dead, fuse-blows, no-heat," in str(result.exception)
