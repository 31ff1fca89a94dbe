"""A verdict for reading: its budget as a table and its arithmetic, as lines of text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.units import show_with
from meterlog.judging.verdict import Outcome

if TYPE_CHECKING:
    from meterlog.judging.verdict import Verdict

_HEAD = ("error", "distribution", "u", "sensitivity", "contribution", "ν", "share")


def budget_table(verdict: Verdict) -> list[str]:
    """The budget with its head and its sum, columns aligned; empty when there is none. Values in SI."""
    if not verdict.budget or verdict.standard_uncertainty is None or verdict.expanded_uncertainty is None:
        return []
    rows = [
        (
            line.name,
            line.distribution,
            f"{line.standard_uncertainty:.4g}",
            f"{line.sensitivity:.4g}",
            f"{line.contribution:.4g}",
            _freedom(line.degrees_of_freedom),
            f"{100 * line.share:.0f} %",
        )
        for line in verdict.budget
    ]
    total = f"{verdict.standard_uncertainty:.4g}"
    rows.append(("combined", "", "", "", total, _freedom(verdict.degrees_of_freedom), ""))
    expanded = f"{verdict.expanded_uncertainty:.4g}"
    rows.append(("expanded, 95.45 %", "", "", f"k = {verdict.coverage_factor:.3g}", expanded, "", ""))
    return _aligned([_HEAD, *rows])


def verdict_lines(verdict: Verdict) -> list[str]:
    """The verdict, why, what would decide it, its arithmetic and its budget."""
    lines = [str(verdict.outcome), verdict.why]
    if verdict.outcome is Outcome.NOT_JUDGED and verdict.value is not None:
        lines[0] += f": {show_with(verdict.value, verdict.expanded_uncertainty or 0.0, verdict.unit)}"
    if verdict.advice:
        lines.append(verdict.advice)
    lines += ["", *(f"  {line}" for line in verdict.trail)]
    table = budget_table(verdict)
    return [*lines, "", *(f"  {line}" for line in table)] if table else lines


def _freedom(degrees: float | None) -> str:
    return "∞" if degrees is None else f"{degrees:.3g}"


def _aligned(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEAD))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
