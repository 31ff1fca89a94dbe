"""The exceptions of meterlog, one root, a class only where a caller acts differently.

    MeterlogError
    ├── WrongText     a profile, procedure or bench file is wrong: exit 1, nothing started
    ├── WrongValue    a value at a border can't be read (unit missing, not a number): exit 2
    ├── CannotDo      the world refuses (port, disk, permission, daemon away): exit 3
    └── BenchBusy     another daemon writes this database: exit 3

A frame that is not believed is no exception: it is a `Rejected` outcome, stored and counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.problem import Problem


class MeterlogError(Exception):
    """Root of all that meterlog raises on purpose."""

    exit_code = 3


class WrongText(MeterlogError):
    """A YAML text does not say what its language allows; carries every problem in file order."""

    exit_code = 1

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class WrongValue(MeterlogError, ValueError):
    """A value at a border cannot be read; the message says what was expected and seen."""

    exit_code = 2


class CannotDo(MeterlogError):
    """The world refuses; `hint` is what to type or do next."""

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(f"{message}\n  {hint}" if hint else message)
        self.hint = hint


class BenchBusy(CannotDo):
    """Another daemon already writes this database."""
