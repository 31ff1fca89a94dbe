"""Simulated heating runs take a minute: on the continuous check and when asked for by name, else named and left out."""

import os

import pytest

WHY = "a minute of simulated heating runs: pytest -m simulation, or .ci/run"


def pytest_collection_modifyitems(config, items):
    if os.environ.get("CI") or "simulation" in config.getoption("-m"):
        return
    for item in items:
        if item.get_closest_marker("simulation"):
            item.add_marker(pytest.mark.skip(reason=WHY))
