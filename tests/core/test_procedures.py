"""The shipped procedures: they read, their limits are sourced, their order is safe."""

import re
from pathlib import Path

import pytest

from meterlog.procedure.language import read_procedure
from meterlog.procedure.steps import MARKS, StepKind

SHIPPED = sorted((Path(__file__).parents[2] / "profiles" / "procedures").glob("*.yaml"))
PROCEDURES = [read_procedure(path.read_text(), path.name) for path in SHIPPED]
STEPS = [(procedure, step) for procedure in PROCEDURES for step in procedure.steps]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_file_carries_its_name(path):
    assert read_procedure(path.read_text(), path.name).key == path.stem


@pytest.mark.parametrize(("procedure", "step"), STEPS, ids=lambda part: part.key)
def test_a_step_is_whole(procedure, step):
    assert all(limit.source and limit.mark in MARKS for limit in step.limits)
    assert step.meaning or not step.limits
    assert step.cautions or not step.energised
    inside = {point.name for point in procedure.points if point.is_inside}
    assert step.kind is StepKind.DEAD or step.needs_dead or not inside & set(step.points)
    assert not (step.energised and inside & set(step.points))


@pytest.mark.parametrize("procedure", PROCEDURES, ids=lambda procedure: procedure.key)
def test_every_point_is_used(procedure):
    used = {name for step in procedure.steps for name in step.points}
    assert used == {point.name for point in procedure.points}


WHERE = ("europe", "united-kingdom", "australia-new-zealand", "united-states")


@pytest.mark.parametrize("procedure", [p for p in PROCEDURES if p.where], ids=lambda procedure: procedure.key)
def test_a_jurisdiction_tells_its_edition_and_defers(procedure):
    assert tuple(procedure.where) == WHERE
    for standing in procedure.where.values():
        assert re.search(r"\b(19|20)\d\d\b", standing)
        assert standing.endswith("; the local code rules")


# Limits of one step by jurisdiction, SI; read on pages second-hand, see the source in each limit.
CHOSEN = [  # procedure, step, jurisdiction, low, high, source
    ("safety-class-1", "insulation", "europe", 1e6, None, "instrument makers' pages on VDE 0701-0702:2008"),
    ("safety-class-2", "insulation", "europe", 2e6, None, "instrument makers' pages on VDE 0701-0702:2008"),
    ("safety-class-1", "earth-current", "europe", None, 3.5e-3, "instrument makers' pages on VDE 0701-0702:2008"),
    ("safety-class-2", "touch-current", "europe", None, 0.5e-3, "instrument makers' pages on VDE 0701-0702:2008"),
    ("safety-class-1", "earth-current", "united-kingdom", None, 5e-3, "a training page on the 5th edition changes"),
    ("safety-class-2", "insulation", "united-kingdom", 2e6, None, "three UK test-service pages"),
    ("safety-class-1", "protective-conductor", "australia-new-zealand", None, 1.0, "four AU/NZ service pages"),
    ("safety-class-1", "earth-current", "australia-new-zealand", None, 5e-3, "four AU/NZ service pages"),
    ("safety-class-2", "touch-current", "australia-new-zealand", None, 1e-3, "four AU/NZ service pages"),
    ("safety-class-2", "touch-current", "united-states", None, 0.5e-3, "UL 8750 clause 8.7.1 quoted on a forum"),
]


@pytest.mark.parametrize(("key", "step", "where", "low", "high", "source"), CHOSEN)
def test_limits_are_chosen_by_jurisdiction(key, step, where, low, high, source):
    procedure = next(procedure for procedure in PROCEDURES if procedure.key == key)
    limit = procedure.step(step).limit_for(where)
    assert (limit.low, limit.high) == (low, high), source


def test_no_limit_of_another_jurisdiction_is_taken():
    procedure = next(procedure for procedure in PROCEDURES if procedure.key == "safety-class-1")
    assert procedure.step("insulation").limit_for("united-states") is None
    assert procedure.step("insulation").limit_for("") is None


def test_no_word_of_conformity():
    for procedure in PROCEDURES:
        assert not re.search(r"complies|comply|conform|certif|declare[sd]? safe", procedure.text, re.IGNORECASE)
