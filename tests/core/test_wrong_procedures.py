"""Each mistake in a procedure and its whole message: `wrong_procedures/NAME.yaml` beside `NAME.txt`."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base.errors import WrongText
from meterlog.procedure.language import read_procedure

WRONG = sorted((Path(__file__).parents[1] / "wrong_procedures").glob("*.yaml"))


@pytest.mark.parametrize("path", WRONG, ids=lambda path: path.stem)
def test_a_mistake_is_told_whole(path):
    with pytest.raises(WrongText) as caught:
        read_procedure(path.read_text(), path.name)
    assert f"{caught.value}\n" == path.with_suffix(".txt").read_text()


def test_every_message_has_its_mistake():
    assert {path.stem for path in WRONG} == {path.stem for path in WRONG[0].parent.glob("*.txt")}


WHOLE = [path.read_text().splitlines() for path in WRONG]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_mangled_procedure_is_read_or_told(data):
    lines = list(data.draw(st.sampled_from(WHOLE)))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        what = data.draw(st.sampled_from(["drop", "twice", "cut", "swap", "word"]))
        other = data.draw(st.integers(0, len(lines) - 1))
        line = lines[at]
        if what == "drop":
            lines[at] = ""
        elif what == "twice":
            lines.insert(other, line)
        elif what == "cut":
            lines[at] = line[: data.draw(st.integers(0, len(line)))]
        elif what == "swap":
            lines[at], lines[other] = lines[other], line
        else:
            lines[at] = line.partition(":")[0] + ": " + data.draw(st.text(max_size=8))
    try:
        procedure = read_procedure("\n".join(lines), "mangled.yaml")
    except WrongText as told:
        places = {problem.place.name for problem in told.problems}
    else:
        places = {"mangled.yaml"} if procedure.steps else set()
    assert places == {"mangled.yaml"}
