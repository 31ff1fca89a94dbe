"""Every happening of a walk is kept under one name of the enumeration."""

from meterlog.record.acts import HAPPENINGS, ActKind
from meterlog.walk import happenings


def all_subclasses(of):
    return {each for direct in of.__subclasses__() for each in ({direct} | all_subclasses(direct))}


def test_every_happening_has_its_kind():
    elsewhere = {happenings.Captured, happenings.Acted}  # a row of its own; kept by the act's word
    assert set(HAPPENINGS) == all_subclasses(happenings.Happening) - elsewhere


def test_no_two_happenings_share_a_kind():
    assert len(set(HAPPENINGS.values())) == len(HAPPENINGS)
    assert set(HAPPENINGS.values()) <= set(ActKind)
