"""Python text in the making: lines, and the objects that they name.

Nothing that a profile says goes into the text but numbers and names of fields; words, patterns and
tables are objects that the text reaches by names of ours.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

_RETURN = re.compile(r"\breturn (.+)$", re.MULTILINE)


WORDS = {"int": int, "len": len, "tuple": tuple, "bytes": bytes, "sum": sum, "max": max, "range": range,
         "enumerate": enumerate, "dict": dict, "KeyError": KeyError, "str": str,
         "isinstance": isinstance}  # fmt: skip
"""All of Python's own names that generated code may use."""


class Code:
    """Lines of one function and the constants that they use."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.names: dict[str, Any] = {}
        self._depth = 1

    @property
    def text(self) -> str:
        return "\n".join(self.lines)

    def add(self, line: str) -> None:
        self.lines.append("    " * self._depth + line)

    def first(self, line: str) -> None:
        """A line before all others."""
        self.lines.insert(0, "    " + line)

    def indent(self) -> None:
        self._depth += 1

    def dedent(self) -> None:
        self._depth -= 1

    def constant(self, value: Any, hint: str = "c") -> str:
        """A name for an object, new each time."""
        name = f"{hint}_{len(self.names)}_"
        self.names[name] = value
        return name

    def functions(self, name: str) -> tuple[Callable[..., Any], Callable[..., Any], str]:
        """The function of a frame and what is kept, the same answering its variables too, and the text."""
        source = f"def {name}(f, kept):\n{self.text}\n"
        tracing = _RETURN.sub(r"return (\1), locals()", source)
        return self._made(name, source), self._made(name, tracing), source

    def _made(self, name: str, source: str) -> Callable[..., Any]:
        """The function of a text; what it names is closed over, which is quicker than looking it up."""
        given = [word for word in self.names if word not in WORDS and word in source]
        body = "".join(f"    {line}\n" for line in source.splitlines())
        space: dict[str, Any] = {"__builtins__": {"locals": locals, **WORDS}}
        exec(compile(f"def _({', '.join(given)}):\n{body}    return {name}\n", f"<profile {name}>", "exec"), space)
        made: Callable[..., Any] = space["_"](*[self.names[word] for word in given])
        return made
