"""Each kind of step in its file: found by its word, whole, and the only place that tells it from the others."""

import re
from pathlib import Path

import pytest
from walking import procedure, step

from meterlog.procedure import kinds
from meterlog.procedure.case import Case, conclude
from meterlog.procedure.kinds import Opens
from meterlog.walk import NOTHING, Act, Walk
from meterlog.walk.answers import wanted_by

TOP = Path(__file__).parents[2] / "meterlog"
EVERY = tuple(kinds.KINDS.values())
FOLDER = TOP / "procedure" / "kinds"


def test_there_is_one_file_for_each_kind():
    files = {path.stem for path in FOLDER.glob("*.py")} - {"__init__", "kind"}
    assert files == {kind.name.lower().replace(" ", "_") for kind in EVERY}
    assert all(kinds.KINDS[kind.name] is kind for kind in EVERY)


@pytest.mark.parametrize("kind", EVERY, ids=lambda kind: kind.name)
def test_a_kind_says_what_it_needs_and_how_it_is_done(kind):
    assert kind.on_sheet
    assert kind.quantity or kind.opens is Opens.LOOK or "quantity" in kind.needed
    assert not (kind.is_dead_only and kind.opens is Opens.START), "a part that is switched on is not dead"


@pytest.mark.parametrize("kind", EVERY, ids=lambda kind: kind.name)
def test_a_step_of_any_kind_opens_and_says_what_is_asked(kind):
    check = step("s", kind.quantity or "resistance", kind=kind, method="ratio" if "method" in kind.needed else "")
    walk = Walk(procedure(check), assume=NOTHING)
    walk.start(0.0)
    assert walk.phase == ("done" if kind.opens is Opens.COMPUTED else kind.opens.value)
    if kind.on_screen and kind.opens is not Opens.STIR:
        assert walk.snapshot().words == kind.on_screen
    assert walk.act(Act(word="note", text="seen"), 1.0)


@pytest.mark.parametrize("kind", EVERY, ids=lambda kind: kind.name)
def test_what_readings_answer_is_looked_for_on_the_links(kind):
    check = step("s", kind.quantity or "resistance", kind=kind)
    if kind.opens is Opens.WATCH:
        assert wanted_by(check).quantity == check.quantity
    elif kind.opens not in (Opens.START, Opens.STIR):
        assert wanted_by(check) is None


@pytest.mark.parametrize("kind", [kind for kind in EVERY if kind is not kinds.DERIVED], ids=lambda kind: kind.name)
def test_nothing_captured_is_not_judged(kind):
    check = step("s", "resistance", kind=kind)
    verdict = conclude(Case(procedure=procedure(check)), check)
    assert (verdict.outcome, verdict.why) == ("not judged", "nothing was captured for this step")


def test_no_other_module_tells_kinds_apart_by_their_names():
    names = "|".join(kind.name.upper().replace(" ", "_") for kind in EVERY)
    told = re.compile(rf"procedure\.kinds\S* import .*\b({names})\b|kinds\.({names})\b")
    found = [path for path in TOP.rglob("*.py") if FOLDER not in path.parents and told.search(path.read_text())]
    assert found == []
