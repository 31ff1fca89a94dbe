"""Python text in the making: lines, and the objects that they name.

Nothing that a profile says goes into the text but numbers; words, patterns and tables are objects
that the text reaches by names of ours.
"""

from __future__ import annotations

from typing import Any


class Code:
    """Lines of one function and the constants that they use."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.names: dict[str, Any] = {}
        self._depth = 1

    def add(self, line: str) -> None:
        self.lines.append("    " * self._depth + line)

    def indent(self) -> None:
        self._depth += 1

    def dedent(self) -> None:
        self._depth -= 1

    def constant(self, value: Any, hint: str = "c") -> str:
        """A name for an object, new each time."""
        name = f"{hint}{len(self.names)}"
        self.names[name] = value
        return name

    def function(self, signature: str) -> Any:
        """The function of these lines, with its source as `.source`."""
        name = signature.partition("(")[0]
        source = f"def {signature}:\n" + "\n".join(self.lines) + "\n"
        space = {"__builtins__": {"int": int, "len": len, "float": float, "tuple": tuple}, **self.names}
        exec(compile(source, f"<profile {name}>", "exec"), space)
        return space[name], source
