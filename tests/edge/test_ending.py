"""What a walk that has come to its end amounts to."""

import pytest
from meterlog.report.ending import ending


def step(key, state, **more):
    return {"key": key, "title": key.title(), "kind": "measure", "state": state, **more}


def test_a_walk_that_is_whole_says_so():
    found = ending([step("a", "pass"), step("b", "looked"), step("c", "not judged")], frozenset({"c"}))
    assert found["says"] == "All 3 checks are answered, and none of them failed."
    assert found["open"] == []
    assert found["tally"] == [("passed", 1), ("looked over", 1), ("recorded, with no limit to hold it against", 1)]


@pytest.mark.parametrize(
    ("state", "word"),
    [
        ("fail", "failed"), ("found wanting", "found not well"), ("undecided", "undecided"), ("skipped", "skipped"),
        ("not judged", "not judged"), ("captured", "without a verdict"), ("passed over", "passed over"),
        ("", "not done"), ("a state of tomorrow", "a state of tomorrow"),
    ],
)  # fmt: skip
def test_whatever_else_is_told_first_with_its_check(state, word):
    found = ending([step("a", "pass"), step("b", state)])
    assert found["says"] == "1 of 2 checks came out well."
    assert [(said, each["key"]) for said, each in found["open"]] == [(word, "b")]


def test_nothing_well_is_said_too():
    assert ending([step("a", "")])["says"] == "None of 1 checks came out well."


def test_a_safety_check_from_before_it_was_opened_again_counts_no_more():
    found = ending([step("earth", "pass", lapsed=True, safety=True), step("fuse", "pass", lapsed=True, safety=False)])
    assert [(said, each["key"]) for said, each in found["open"]] == [
        ("passed before it was opened again: counts no more", "earth")
    ]
