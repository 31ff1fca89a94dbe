"""What gates rest on after a break: verdicts by the job's own procedure, jurisdiction and rule."""

import json

import pytest

from meterlog.record.kept import VerdictRecord
from meterlog.record.keptjob import outcomes_for_gates


def verdict(outcome, procedure="own", **context):
    return VerdictRecord(
        id=1, job=1, step=1, capture=7, outcome=outcome, why="", result="",
        context=json.dumps({"where": "", **context}),
        procedure=procedure, profile=None, facts=None, program="", supersedes=None, reason="", at_utc_ms=0, commit=None,
    )  # fmt: skip


OTHERS = [{"procedure": "laxer"}, {"where": "elsewhere"}, {"rule": "simple acceptance"}]


@pytest.mark.parametrize("other", OTHERS, ids=str)
def test_what_was_concluded_by_other_limits_opens_no_gate(other):
    assert outcomes_for_gates([verdict("fail"), verdict("pass", **other)], "own", "") == {7: "fail"}


@pytest.mark.parametrize("other", OTHERS, ids=str)
def test_what_was_concluded_by_other_limits_can_shut_one(other):
    assert outcomes_for_gates([verdict("pass"), verdict("fail", **other)], "own", "") == {7: "fail"}


def test_an_entry_learned_since_opens_one():
    assert outcomes_for_gates([verdict("not judged"), verdict("pass")], "own", "") == {7: "pass"}
