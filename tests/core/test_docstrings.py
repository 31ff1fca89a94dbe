"""Every example in a docstring gives what it says."""

import doctest
import importlib
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
WITH_EXAMPLES = [path for path in sorted((TOP / "meterlog").rglob("*.py")) if ">>> " in path.read_text()]


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_of_a_module_hold(path):
    module = importlib.import_module(".".join(path.relative_to(TOP).with_suffix("").parts))
    found = doctest.testmod(module)
    assert found.attempted
    assert not found.failed
