"""Texts that are no YAML, and what their writer is told to write."""

import pytest

from meterlog.base.errors import WrongText
from meterlog.base.source import compose


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("instruments:\n\tmeter: one\n", "indent with spaces: YAML takes no tabs there"),
        ("owner: a: b\n", 'a text that holds ": " stands in quotes'),
        ("owner: 'unclosed\n", "check the indentation and the quotes around here"),
    ],
)
def test_a_text_that_is_no_yaml_says_what_to_write(text, hint):
    with pytest.raises(WrongText) as refused:
        compose(text, "bench.yaml")
    assert [problem.hint for problem in refused.value.problems] == [hint]
