"""Facts in words: what a table's row may say of a reading."""

import pytest

from meterlog.base.readings import Bound
from meterlog.profile.language.facts import Facts, form_of, parse_facts


def test_the_end_of_the_highest_range_is_told_without_choosing_a_range():
    facts = parse_facts("ohm; up to 40 Mohm")
    assert (facts.unit, facts.range_top, facts.range, facts.decimals) == ("ohm", 40e6, None, None)


@pytest.mark.parametrize("words", ["up to", "up to 40", "up to plenty", "upto 4 V"])
def test_an_end_without_number_and_unit_is_refused(words):
    with pytest.raises(ValueError, match="unit"):
        parse_facts(words)


def test_facts_that_contradict_are_refused():
    with pytest.raises(ValueError, match="one part says unit V, another says ohm"):
        parse_facts("V; ohm")


def test_a_bound_is_a_fact():
    assert parse_facts("overload").bound is Bound.OVERLOAD


def test_lamps_that_contradict_make_no_form():
    assert form_of(Facts(mode="dc", unit="degC"), 1, 3) == "dc is never said of temperature"
    assert form_of(Facts(mode="ac", unit="Hz"), 1, 3).form.mode == "ac"
