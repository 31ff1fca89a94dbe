"""Lines in parts between separators: by their numbers, or by the names of a header line that came before."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.profile.compile.lines import body
from meterlog.profile.compile.numbers import word_code
from meterlog.profile.compile.view import FrameReader, NotBelieved, ReadStep, View

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.base.schema import Where
    from meterlog.profile.compile.values import Values
    from meterlog.profile.language.content import Field, Says, Shows


class Parts:
    """A `split:` line: parts by number, or by the names of a header line that came before."""

    def __init__(self, says: Says, values: Values, start: bytes, ends: tuple[bytes, ...]) -> None:
        self.says, self.values, self.start, self.ends = says, values, start, ends
        self.names = self._header_names()

    def add(self) -> None:
        """The step that parts the line, and proves how many parts there are."""
        says, values = self.says, self.values
        assert says.split
        text = body(values.layout, self.start, self.ends)
        if says.split.over:
            values.reach(says.where, [says.split.over.first, says.split.over.last])
            where = values.layout.slice(says.split.over)
            text = lambda frame: frame[where]  # noqa: E731
        by = says.split.by
        if by == b" ":
            values.steps.append(lambda view: setattr(view, "parts", text(view.frame).split()))
        else:
            values.steps.append(lambda view: setattr(view, "parts", [p.strip() for p in text(view.frame).split(by)]))
        if says.repeat:
            first, every = says.repeat.from_part - 1, says.repeat.every
            values.steps.append(
                _require(
                    lambda parts: len(parts) > first and (len(parts) - first) % every == 0,
                    f"parts do not come in groups of {every}",
                )
            )
        elif not self.names:
            self._count()
        if self.names:
            values.steps.append(_header(self.names))

    def _count(self) -> None:
        says = self.says
        assert says.split
        count = says.split.parts
        if count is None:
            says.where.tell(
                self.values.problems,
                "split",
                expected="the key 'parts': how many parts a frame has",
                saw="no such key",
                hint="a line that is cut short has fewer, and is rejected",
            )
            return
        self.values.steps.append(_require(lambda parts: len(parts) == count, f"expected {count} parts"))

    def _header_names(self) -> frozenset[bytes]:
        placed: list[Field | Shows] = [*self.says.fields.values(), *self.says.readings]
        return frozenset(word_code(p.part) for p in placed if p.part and not p.part.isdigit())

    def part(self, part: str) -> FrameReader:
        """What answers a part by its number or name."""
        if part.isdigit():
            place = int(part) - 1
            return lambda view: view.parts[place]
        name = word_code(part)
        return lambda view: view.parts[view.memory.columns.index(name)]

    def sound(self, part: str, where: Where) -> bool:
        """Whether a part's number is one that every frame has."""
        assert self.says.split
        count = self.says.split.parts
        if part.isdigit() and not (1 <= int(part) <= (count or 200)):
            where.tell(self.values.problems, "part", expected=f"a part from 1 to {count}", saw=part)
            return False
        return True


def _require(holds: Callable[[list[bytes]], bool], words: str) -> ReadStep:
    """A step that rejects the frame unless something holds of its parts."""

    def step(view: View) -> None:
        if not holds(view.parts):
            raise NotBelieved(words)

    return step


class IsHeader(Exception):
    """The line names the columns: it carries no reading."""


def _header(names: frozenset[bytes]) -> ReadStep:
    """A line that has all the names, each once, is the header; what it says is kept."""

    def step(view: View) -> None:
        parts = view.parts
        if names.issubset(parts) and sum(part in names for part in parts) == len(names):
            view.memory.columns = tuple(parts)
            raise IsHeader
        columns = view.memory.columns
        if not columns:
            raise NotBelieved("the line that names the columns has not come, or came damaged")
        if len(parts) != len(columns):
            raise NotBelieved("not as many parts as the line that names them")

    return step


def may_be_header(seen: bytes, by: bytes, columns: tuple[bytes, ...]) -> bool:
    """Whether bytes that are not believed may have been a line that names the columns anew.

    It still holds a name of the last one, or the end or beginning of one where it was cut; or it is words where a
    row has numbers.
    """
    parts = [part for part in map(bytes.strip, seen.split(by)) if part]
    if any(map(_FIGURE.match, parts)) or not parts:
        return any(part in columns for part in parts)
    names = [name for name in columns if name]
    if any(name in parts or name.endswith(parts[0]) or name.startswith(parts[-1]) for name in names):
        return True
    return 2 * sum(bool(_NAME.fullmatch(part)) for part in parts) >= len(parts)


_NAME = re.compile(rb"[A-Za-z][\x20-\x7e]+|[A-Za-z]")


_FIGURE = re.compile(rb"[-+.]?\d")
