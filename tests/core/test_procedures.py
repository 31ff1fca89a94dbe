"""The shipped procedures: they read, their limits are sourced, their order is safe."""

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
