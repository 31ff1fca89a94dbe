"""One thing wrong in a text, and where it stands: file:line:column, expected, saw, hint."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where something stands in a text; line and column count from 1."""

    name: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.name}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong in a text: where, what was expected, what was seen, what to write."""

    place: Place
    path: str
    expected: str
    saw: str
    hint: str = ""

    def as_row(self) -> dict[str, str | int]:
        """As JSON shows it."""
        return {
            "line": self.place.line,
            "column": self.place.column,
            "path": self.path,
            "expected": self.expected,
            "saw": self.saw,
            "hint": self.hint,
        }

    def __str__(self) -> str:
        lines = [f"{self.place}: {self.path}".rstrip(": "), f"  expected  {self.expected}", f"  saw       {self.saw}"]
        if self.hint:
            lines.append(f"  hint      {self.hint}")
        return "\n".join(lines)
