"""The shipped procedures: they read, their limits are sourced, their order is safe."""

import re
from pathlib import Path

import pytest

from meterlog.judging.limit import MARKS, Limit, Rule
from meterlog.procedure import kinds
from meterlog.procedure.cautions import CAUTIONS
from meterlog.procedure.language import read_procedure
from meterlog.procedure.steps import Point, Settling, Step

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
    assert step.kind is kinds.DEAD or step.needs_dead or not inside & set(step.points)
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
    assert procedure.step("insulation").limit_for("") is None


def test_a_step_that_differs_by_jurisdiction_knows_all_of_them():
    for _, step in STEPS:
        places = {limit.where for limit in step.limits}
        assert places <= {""} or places == set(WHERE)


def test_no_word_of_conformity():
    for procedure in PROCEDURES:
        assert not re.search(r"complies|comply|conform|certif|declare[sd]? safe", procedure.text, re.IGNORECASE)


EVERY_KEY = """\
procedure: every-key
title: Every key
appliance: invented
source: invented
cautions: [isolate, "A sentence of its own."]
rule: simple acceptance
where: {europe: "EN 50678:2021; the local code rules"}
plate: {rated power: power}
protection class: II
asked: {vessel: words}
points:
  outside: {pin 1: one pin, pin 2: other pin}
  inside: {tab 1: one tab, tab 2: other tab}
steps:
  - step: dead-1
    kind: dead
    title: Dead
    points: [pin 1, pin 2]
    mode: ac+dc
    known source: 9 V
    limits: [{is: at most 34 V, source: invented, mark: memory}]
  - step: dead-2
    kind: dead
    title: Dead inside
    points: [tab 1, tab 2]
    known source: 12 V
    hold: 5 s
    limits: [{is: at most 50 V, source: invented, mark: memory}]
  - step: minute
    kind: at time
    title: Insulation
    points: [tab 1, tab 2]
    reach: by hand
    quantity: insulation_resistance
    mode: dc
    instrument: insulation-tester
    test voltage: 0.5 kV
    after: 1 min
    limits: [{where: europe, is: at least 1 Mohm, source: invented, mark: read}]
    cautions: [insulation-voltage]
    needs: [dead-2]
    fail means: damp
    settling: {length: 10 s, spread counts: 3, spread: 1 %, slope counts: 2, slope: 0.5 %}
    which counts: first
    rule: probability of conformity
    note: a note
  - {step: closed, kind: look, title: Closed}
  - step: insulation
    kind: measure
    title: To metal outside
    points: [pin 1, pin 2]
    quantity: insulation_resistance
    limits: [{is: at least 2 Mohm, source: invented, mark: memory}]
  - {step: run, kind: look, title: Run, energised: true, cautions: [attend], needs: [closed, insulation]}
  - step: dead-3
    kind: dead
    title: Dead again
    points: [pin 1, pin 2]
    mode: ac+dc
    known source: 9 V
    limits: [{is: at most 34 V, source: invented, mark: memory}]
  - {step: after, kind: look, title: After, needs dead: true}
"""


def test_every_key_arrives():
    procedure = read_procedure(EVERY_KEY, "every-key.yaml")
    assert procedure.step("minute") == Step(
        key="minute",
        title="Insulation",
        kind=kinds.AT_TIME,
        points=("tab 1", "tab 2"),
        reach="by hand",
        quantity="insulation_resistance",
        mode="dc",
        instrument="insulation-tester",
        test_voltage=500.0,
        limits=(
            Limit(
                low=1e6, high=None, unit="Mohm", text="at least 1 Mohm", source="invented", mark="read", where="europe"
            ),
        ),
        cautions=(CAUTIONS["insulation-voltage"],),
        needs=("dead-1", "dead-2"),
        needs_dead=True,
        meaning="damp",
        hold_s=3.0,
        at_s=60.0,
        settling=Settling(length_s=10.0, spread_counts=3.0, spread_part=0.01, slope_counts=2.0, slope_part=0.005),
        counts="first",
        rule=Rule.PROBABILITY,
        note="a note",
    )
    assert (procedure.step("dead-2").hold_s, procedure.step("dead-2").source_voltage) == (5.0, 12.0)
    assert procedure.cautions == (CAUTIONS["isolate"], "A sentence of its own.")
    assert procedure.protection_class == "II"
    assert (procedure.rule, procedure.entries) == (Rule.SIMPLE, {"rated power": "power", "vessel": "words"})
    assert procedure.points[2] == Point(name="tab 1", text="one tab", is_inside=True)


def test_what_needs_dead_waits_for_each_proof_since_mains_was_on():
    procedure = read_procedure(EVERY_KEY, "every-key.yaml")
    assert procedure.step("after").needs == ("dead-3",)
    assert procedure.step("dead-2").needs == ()
