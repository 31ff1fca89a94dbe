"""Each kind of step in its file: found by its word, whole, and the only place that tells it from the others."""

import re
from pathlib import Path

import pytest
from walking import procedure, step

from meterlog.procedure.case import Case, conclude
from meterlog.procedure.kinds import Opens, kind_of
from meterlog.procedure.steps import StepKind
from meterlog.walk import NOTHING, Act, Walk
from meterlog.walk.answers import wanted_by

TOP = Path(__file__).parents[2] / "meterlog"
FOLDER = TOP / "procedure" / "kinds"


def test_there_is_one_file_for_each_kind():
    files = {path.stem for path in FOLDER.glob("*.py")} - {"__init__", "kind"}
    assert files == {kind.name.lower() for kind in StepKind}
    assert len({id(kind_of(kind)) for kind in StepKind}) == len(StepKind)


@pytest.mark.parametrize("kind", StepKind)
def test_a_kind_says_what_it_needs_and_how_it_is_done(kind):
    known = kind_of(kind)
    assert known.on_sheet
    assert known.quantity or known.opens is Opens.LOOK or "quantity" in known.needed
    assert not (known.is_dead_only and known.opens is Opens.START), "a part that is switched on is not dead"


@pytest.mark.parametrize("kind", StepKind)
def test_a_step_of_any_kind_opens_and_says_what_is_asked(kind):
    known = kind_of(kind)
    check = step("s", known.quantity or "resistance", kind=kind, method="ratio" if "method" in known.needed else "")
    walk = Walk(procedure(check), assume=NOTHING)
    walk.start(0.0)
    assert walk.phase == ("done" if known.opens is Opens.COMPUTED else known.opens.value)
    if known.on_screen:
        assert walk.snapshot()["words"] == known.on_screen
    assert walk.act(Act(word="note", text="seen"), 1.0)


@pytest.mark.parametrize("kind", StepKind)
def test_what_readings_answer_is_looked_for_on_the_links(kind):
    known = kind_of(kind)
    check = step("s", known.quantity or "resistance", kind=kind)
    if known.opens is Opens.WATCH:
        assert wanted_by(check).quantity == check.quantity
    elif known.opens is not Opens.START:
        assert wanted_by(check) is None


@pytest.mark.parametrize("kind", [kind for kind in StepKind if kind is not StepKind.DERIVED])
def test_nothing_captured_is_not_judged(kind):
    check = step("s", "resistance", kind=kind)
    verdict = conclude(Case(procedure=procedure(check)), check)
    assert (verdict.outcome, verdict.why) == ("not judged", "nothing was captured for this step")


TOLD_APART = {  # modules that tell kinds apart by their word, each with its reason
    "procedure/steps.py": "the words themselves",
    "procedure/kinds": "the kinds",
    "procedure/language.py": "the words, as a procedure writes them",
    "procedure/arithmetic.py": "methods of heating and timed steps, checked by their own tables",
    "walk/answers.py": "what watches a link knows streams; every kind is there, or the type checker says so",
}


def test_no_other_module_of_procedure_or_walk_tells_kinds_apart():
    found = set()
    for room in ("procedure", "walk"):
        for path in (TOP / room).rglob("*.py"):
            name = str(path.relative_to(TOP))
            if re.search(r"StepKind\.[A-Z_]+", path.read_text()) and not name.startswith(tuple(TOLD_APART)):
                found.add(name)
    assert found == set()
