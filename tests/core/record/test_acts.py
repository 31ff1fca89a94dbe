"""Every happening of a walk is kept under one name of the enumeration."""

from meterlog.record.acts import HAPPENINGS, ActKind
from meterlog.walk import happenings


def test_every_happening_has_its_kind():
    elsewhere = {happenings.Captured, happenings.Acted}  # a row of its own; kept by the act's word
    told = {each for each in vars(happenings).values() if isinstance(each, type)}
    every = {each for each in told if issubclass(each, happenings.Happening)} - {happenings.Happening}
    assert set(HAPPENINGS) == every - elsewhere


def test_no_two_happenings_share_a_kind():
    assert len(set(HAPPENINGS.values())) == len(HAPPENINGS)
    assert set(HAPPENINGS.values()) <= set(ActKind)
