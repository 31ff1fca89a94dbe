"""Recordings as people and editors write them: what is wrong is told with its line."""

import pytest

from meterlog.base.errors import WrongText
from meterlog.base.recording import parse
from meterlog.walk.replay import check_acts

HEAD = "meterlog recording 1\nprofile: ascii-thermometer\n"


def test_a_mark_that_an_editor_put_in_front_is_passed_over():
    assert parse("\ufeff" + HEAD + "\n0.5 in 41\n", "x").received == b"A"


WRONG = [  # text, line that is told, expected
    (HEAD + "profile: scpi-multimeter\n\n", 3, "each key of the head once"),
    (HEAD + "started: yesterday\n\n", 3, "a date and time such as 2026-03-01T09:30:00Z"),
    (HEAD + "\n1.0 in 41\n0.5 in 41\n", 5, "a time of 1.0 s or later"),
]


@pytest.mark.parametrize(("text", "line", "expected"), WRONG)
def test_what_is_wrong_is_told_with_its_line(text, line, expected):
    with pytest.raises(WrongText) as wrong:
        parse(text, "x")
    assert [(each.place.line, each.expected) for each in wrong.value.problems] == [(line, expected)]


def test_an_act_that_is_none_is_told_with_its_line():
    with pytest.raises(WrongText) as wrong:
        check_acts(parse(HEAD + "\n1.0 act next\n2.0 act jump\n", "x"), "x")
    assert [(each.place.line, each.saw) for each in wrong.value.problems] == [(5, "'jump'")]
