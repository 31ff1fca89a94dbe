"""YAML text read with places: every scalar stays the text that was written, with its line and column.

Loaders take a text and a name, never a path, and type scalars by schema, so that `no`, `010`,
`12:30` and `0.420` arrive as they stand. What the keys mean is left to `meterlog.base.schema`.
"""

from __future__ import annotations

import difflib
import hashlib
from typing import TYPE_CHECKING

import yaml

from meterlog.base.errors import WrongText
from meterlog.base.problem import Place, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
MAX_TEXT = 1_000_000
MAX_DEPTH = 40


class Problems:
    """The problems of one text, gathered so that all are told at once."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._found: list[Problem] = []

    def __len__(self) -> int:
        return len(self._found)

    def add(self, place: Place, path: str, *, expected: str, saw: str, hint: str = "") -> None:
        self._found.append(Problem(place=place, path=path, expected=expected, saw=saw, hint=hint))

    def in_order(self) -> list[Problem]:
        return sorted(self._found, key=lambda p: (p.place.line, p.place.column))

    def raise_if_any(self) -> None:
        if self._found:
            raise WrongText(self.in_order())


def text_sha256(text: str) -> str:
    """SHA-256 of the exact bytes of a text, in hex: its name in the store."""
    return hashlib.sha256(text.encode()).hexdigest()


def near_miss(word: str, allowed: Iterable[str]) -> str:
    """The hint for a mistyped word: the nearest allowed one, or all of them."""
    allowed = sorted(allowed)
    close = difflib.get_close_matches(word, allowed, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}?"
    return "allowed here: " + ", ".join(allowed) if allowed else ""


def place_of(node: yaml.Node | yaml.Event, name: str) -> Place:
    """Where a node or event begins."""
    mark = node.start_mark
    assert mark is not None, "the loader marks every node"
    return Place(name=name, line=mark.line + 1, column=mark.column + 1)


def compose(text: str, name: str) -> yaml.Node:
    """The node tree of one YAML document.

    Raises: WrongText when the text is not YAML, empty, several documents, larger than 1 MB,
    nested deeper than 40, or uses anchors (a text must read the same from top to bottom).
    """
    problems = Problems(name)
    start = Place(name=name, line=1, column=1)
    if len(text) > MAX_TEXT:
        problems.add(start, "", expected="at most 1 MB of text", saw=f"{len(text)} characters")
        problems.raise_if_any()
    node: yaml.Node | None = None
    try:
        _refuse_anchors(text, name)
        node = yaml.compose(text, Loader=_LOADER)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = Place(name=name, line=mark.line + 1, column=mark.column + 1) if mark else start
        saw = " ".join(part for part in (error.context, error.problem) if part)
        problems.add(place, "", expected="YAML", saw=saw, hint=_what_to_write(error, text, place))
    except yaml.YAMLError as error:
        problems.add(start, "", expected="YAML in UTF-8", saw=str(error).splitlines()[0])
    problems.raise_if_any()
    if node is None:
        problems.add(start, "", expected="a YAML mapping", saw="an empty text")
        raise WrongText(problems.in_order())
    return node


def _what_to_write(error: yaml.MarkedYAMLError, text: str, place: Place) -> str:
    if error.problem is not None and error.problem.startswith("mapping values are not allowed"):
        return 'a text that holds ": " stands in quotes'
    line = text.splitlines()[place.line - 1 : place.line]
    if line and "\t" in line[0][: place.column]:
        return "indent with spaces: YAML takes no tabs there"
    return "check the indentation and the quotes around here"


def _refuse_anchors(text: str, name: str) -> None:
    depth = 0
    for event in yaml.parse(text, Loader=_LOADER):
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        anchored = isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None)
        if depth <= MAX_DEPTH and not anchored:
            continue
        place, problems = place_of(event, name), Problems(name)
        if anchored:
            problems.add(
                place, "", expected="plain YAML", saw="an anchor or alias (& or *)", hint="write the part out again"
            )
        else:
            problems.add(place, "", expected=f"at most {MAX_DEPTH} levels", saw="a deeper nesting")
        problems.raise_if_any()
