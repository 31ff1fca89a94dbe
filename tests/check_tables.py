"""The tables in tests/checks: numbers from outside the project, each with its source and mark."""

import csv
from pathlib import Path

import pytest

TABLES = Path(__file__).parent / "checks"


def rows(name, **wanted):
    """The rows of a table as pytest parameters named by their id; `wanted` picks by column."""
    with (TABLES / name).open(encoding="utf-8", newline="") as table:
        found = [row for row in csv.DictReader(table) if all(row[key] == value for key, value in wanted.items())]
    assert found, f"no rows in {name} for {wanted}"
    assert all(row["source"] and row["mark"] for row in found), f"a row of {name} lacks its source or mark"
    return [pytest.param(row, id=row["id"]) for row in found]


def number(text):
    """A float, None for an empty cell."""
    return float(text) if text else None
