"""Each mistake in a procedure and its whole message: `wrong_procedures/NAME.yaml` beside `NAME.txt`."""

from pathlib import Path

import pytest

from meterlog.errors import WrongText
from meterlog.procedure.language import read_procedure

WRONG = sorted((Path(__file__).parents[1] / "wrong_procedures").glob("*.yaml"))


@pytest.mark.parametrize("path", WRONG, ids=lambda path: path.stem)
def test_a_mistake_is_told_whole(path):
    with pytest.raises(WrongText) as caught:
        read_procedure(path.read_text(), path.name)
    assert f"{caught.value}\n" == path.with_suffix(".txt").read_text()


def test_every_message_has_its_mistake():
    assert {path.stem for path in WRONG} == {path.stem for path in WRONG[0].parent.glob("*.txt")}
