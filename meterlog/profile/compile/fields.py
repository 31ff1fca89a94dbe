"""Where the fields of a message stand, and what reads them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.profile.compile.display import display, is_sound
from meterlog.profile.compile.lines import Pattern, Template, holes
from meterlog.profile.compile.meaning import shown
from meterlog.profile.compile.parts import Parts
from meterlog.profile.compile.values import OWN, Value
from meterlog.profile.compile.view import FrameReader, NotBelieved, ReadStep, View
from meterlog.profile.language.kinds import NumberKind

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    from meterlog.base.source import Problems
    from meterlog.profile.compile.tables import Tables
    from meterlog.profile.compile.values import Values
    from meterlog.profile.language.content import Field, Says


class Fields:
    """Makes what reads the fields of one message.

    Args:
        starts, ends: the marks of a frame.

    Attributes:
        parts: of a line that is split; else None.
    """

    def __init__(
        self,
        says: Says,
        values: Values,
        tables: Tables,
        starts: tuple[bytes, ...],
        ends: tuple[bytes, ...],
        problems: Problems,
    ) -> None:
        self._says, self._values, self._tables, self._problems = says, values, tables, problems
        self._start, self._ends = starts[0] if starts else b"", ends
        self.parts: Parts | None = None

    def lay_out(self) -> None:
        """Find the parts of a line, where the message is one."""
        says, values, ends = self._says, self._values, self._ends
        ways = [way for way, said in (("text", says.text), ("pattern", says.pattern), ("split", says.split)) if said]
        if len(ways) > 1:
            says.where.tell(self._problems, ways[1], expected="one of text, pattern and split", saw=" and ".join(ways))
        numbers = {said.value for said in says.readings}
        if says.text:
            Template(says, values, ends, numbers).add()
            self._one_place(holes(says.text), "text")
        elif says.pattern:
            self._one_place(Pattern(says, values, ends, numbers).add(), "pattern")
        elif says.split:
            self.parts = Parts(says, values, self._start, ends)
            self.parts.add()
        if says.repeat and not says.split:
            says.where.tell(self._problems, "repeat", expected="`split` beside it", saw="no such key")
        if says.repeat and not says.readings:
            says.where.tell(self._problems, "repeat", expected="readings of the group", saw="none")

    def _one_place(self, names: list[str], key: str) -> None:
        """Tell of fields whose place both the line and they themselves say."""
        for name in names:
            said = self._says.fields.get(name)
            ways = [way for way in ("byte", "bytes", "part", "item", "digits") if said and getattr(said, way)]
            if said and ways:
                said.where.tell(self._problems, ways[0], expected=f"one place: `{key}` has {name!r} too", saw="two")

    def place(self, names: list[str]) -> None:
        """What reads the fields, and proves that those which must be a code are."""
        for name in names:
            said = self._says.fields[name]
            if name not in self._values.known:
                self.add(name, said)
            value = self._values.known.get(name)
            if said.value and value is not None and self._tables.is_code(said, value, "is"):
                self._values.steps.append(self._must_be(name, said, value))

    def _must_be(self, name: str, said: Field, value: Value) -> ReadStep:
        codes, read, why = frozenset(self._tables.codes(said, value, said.value)), value.read, _unlike(name, said.value)

        def step(view: View) -> None:
            if read(view) not in codes:
                raise NotBelieved(why(read(view)))

        return step

    def add(self, name: str, said: Field) -> None:
        """What reads one field."""
        if said.digits:
            if is_sound(self._values, said):
                self._values.hold(Value(kind="digits", name=name, read=display(self._values, said), field=said))
            return
        value = self._part(name, said) if said.part or said.item else self._placed(name, said)
        if value is not None and name not in self._says.fields:
            self._values.known[name] = value  # a reading's own number is used once
        elif value is not None:
            self._values.hold(value)

    def _placed(self, name: str, said: Field) -> Value | None:
        if said.byte or said.bytes or said.bits:
            return self._values.placed(name, said)
        hint = f"or write {{{name}}} in `text`" if self._says.text else ""
        hint = "`register` is a place beside `modbus` alone" if said.register is not None else hint
        said.where.tell(
            self._problems, expected="where it stands: byte, bytes, bits, part or digits", saw="no place", hint=hint
        )
        return None

    def _part(self, name: str, said: Field) -> Value | None:
        if self.parts is None:
            said.where.tell(self._problems, expected="`split` in the message, for its parts", saw="no such key")
            return None
        if said.item:
            if not self._says.repeat or said.item > self._says.repeat.every:
                said.where.tell(
                    self._problems, "item", expected="an item of the group that `repeat` says", saw=str(said.item)
                )
                return None
            within = said.item - 1
            text: FrameReader = lambda view: view.parts[view.group + within]  # noqa: E731
        else:
            if not self.parts.sound(said.part, said.where):
                return None
            text = self.parts.part(said.part)
        used = any(reading.value == name for reading in self._says.readings) or name.startswith(OWN)
        kind = self._values.kind_of(said, None) if said.kind else NumberKind(name="decimal" if used else "text")
        if kind is None:
            return None
        if kind.size is not None or kind.name.endswith("bcd"):
            said.where.tell(self._problems, "as", expected="a kind of text: decimal, digits, hex, text", saw=said.kind)
            return None
        return self._values.of_text(name, said, text, kind, f"part {said.part or said.item}")


def _unlike(name: str, codes: tuple[str, ...]) -> Callable[[Hashable], str]:
    """The reason why a code is none of those that must stand there."""
    return lambda saw: f"{name}: expected {' or '.join(codes)}, saw {shown(saw)}"
