"""Every limit of every shipped procedure against a table of what was read, quoted or is habit: ends and mark."""

import pytest
from check_tables import number, rows

from meterlog.base.units import QUANTITIES, parse
from meterlog.files import shipped
from meterlog.procedure.language import read_procedure

FOLDER = shipped.folder("profiles/procedures")
PROCEDURES = {path.stem: read_procedure(path.read_text(), path.stem) for path in sorted(FOLDER.glob("*.yaml"))}
LIMITS = {
    f"{name}/{step.key}{'@' if limit.where else ''}{limit.where}": (step, limit)
    for name, procedure in PROCEDURES.items()
    for step in procedure.steps
    for limit in step.limits
}
TABLE = [param.values[0] for param in rows("limits.csv")]


def steps_of(row):
    """The limits that a row is of; "*/lead-check" is that step of every procedure."""
    named = row["steps"].split()
    return [key for key in LIMITS for name in named if key == name or (name[0] == "*" and key.endswith(name[1:]))]


@pytest.mark.parametrize("row", rows("limits.csv"))
def test_a_limit_is_what_its_source_says(row):
    assert steps_of(row)
    for key in steps_of(row):
        step, limit = LIMITS[key]
        assert (limit.mark, limit.is_open, limit.by_method) == (
            row["mark"],
            row["low"] == "open",
            row["low"] == "method",
        )
        if limit.by_method:
            assert (limit.by or step.inputs["rule"]) == row["high"]
            continue
        assert limit.of == (row["of"] if row["of"] in PROCEDURES[key.partition("/")[0]].entries else "")
        if not limit.is_open:
            assert (limit.low, limit.high) == (pytest.approx(number(row["low"])), pytest.approx(number(row["high"])))
        assert limit.of or parse(f"1 {row['of'] or 'dimensionless'}", QUANTITIES[step.quantity].si) == 1.0


def test_every_limit_stands_in_the_table_once():
    named = [key for row in TABLE for key in steps_of(row)]
    assert sorted(named) == sorted(LIMITS)
