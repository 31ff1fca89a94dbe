"""The tests' own pseudo-terminals: safe beside another run of the same tests."""

import os

from edge.bench import Wire


def test_a_pulled_wires_number_is_not_given_again():
    pulled = Wire()
    pulled.pull()
    assert not os.path.exists(pulled.path)
    others = [Wire() for _ in range(5)]
    assert pulled.path not in [other.path for other in others]
    for other in others:
        other.pull()
