"""Which verdict counts: by hand, on chains that supersede, on steps measured twice, on steps whose first counts."""

from typing import NamedTuple

import pytest

from meterlog.record.standing import standing


class Given(NamedTuple):
    id: int
    step: int
    supersedes: int | None = None


@pytest.mark.parametrize(
    ("verdicts", "first", "counts"),
    [
        ([], (), {}),
        ([Given(1, 7)], (), {7: 1}),
        ([Given(1, 7), Given(2, 8), Given(3, 7, 1)], (), {7: 3, 8: 2}),
        ([Given(1, 7), Given(2, 7, 1), Given(3, 7, 2)], (7,), {7: 3}),  # superseded is out, first or not
        ([Given(1, 7), Given(2, 7)], (), {7: 2}),  # nothing supersedes the first: the last counts
        ([Given(1, 7), Given(2, 7)], (7,), {7: 1}),
        ([Given(1, 7), Given(2, 7), Given(3, 7, 2)], (7,), {7: 1}),
    ],
)
def test_the_verdict_that_counts(verdicts, first, counts):
    assert {step: verdict.id for step, verdict in standing(verdicts, first).items()} == counts


def test_rows_that_are_no_objects_are_read_by_a_function():
    rows = [{"n": 1, "s": 7, "over": None}, {"n": 2, "s": 7, "over": 1}]
    assert standing(rows, linked=lambda row: (row["n"], row["s"], row["over"])) == {7: rows[1]}
