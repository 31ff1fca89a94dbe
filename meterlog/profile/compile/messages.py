"""A message of a profile to one Python function: frame in, readings or the reason of a rejection out."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Reading
from meterlog.base.source import near_miss
from meterlog.conversation.reasons import Refusal
from meterlog.profile.compile.code import Code
from meterlog.profile.compile.display import Display
from meterlog.profile.compile.lines import Parts, Pattern, Template, body, holes, late_values
from meterlog.profile.compile.meaning import SAID, Former, fixed_facts, shown
from meterlog.profile.compile.numbers import Numbers
from meterlog.profile.compile.proof import write_check
from meterlog.profile.compile.sums import Sums
from meterlog.profile.compile.tables import Sources, Tables
from meterlog.profile.compile.values import OWN, Value, Values
from meterlog.profile.language.content import Field, Says, Shows
from meterlog.profile.language.facts import NO_FACTS, WITHOUT_MODE, Facts, contradicted, implied
from meterlog.profile.language.kinds import Kind
from meterlog.profile.language.taken import put_together
from meterlog.profile.language.words import bare

if TYPE_CHECKING:
    from meterlog.base.source import Problems
    from meterlog.profile.compile.layout import Layout
    from meterlog.profile.language.wire import Check

Decode = Callable[[bytes, dict[str, Any]], "tuple[Reading, ...] | str"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What a message needs to know of the rest of its profile.

    Attributes:
        starts, ends: the marks of a frame.
        requests: what each request's answers mean, by its number; empty where no request says a thing.
        kept: the fields that other messages keep: what they were read as, and their declaration.
    """

    layout: Layout
    checks: tuple[Check, ...] = ()
    starts: tuple[bytes, ...] = ()
    ends: tuple[bytes, ...] = ()
    requests: Mapping[int, Facts] = field(default_factory=dict)
    kept: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A compiled message.

    Attributes:
        decode: the function; source: its text. trace: the same, answering its variables as well.
        formers: what chose the form of each reading.
        values: the fields as they were read, by name.
        steady: the same bytes always mean the same.
        header_by: what parts the columns, where a line of the message may name them; else nothing.
    """

    name: str
    says: Says
    decode: Decode
    trace: Callable[[bytes, dict[str, Any]], tuple[Any, dict[str, Any]]]
    source: str
    formers: tuple[Former, ...]
    values: Mapping[str, Value]
    steady: bool
    header_by: bytes


def _unlike(name: str, codes: tuple[str, ...]) -> Callable[[Hashable], str]:
    """The reason why a code is none of those that must stand there."""
    return lambda saw: f"{name}: expected {' or '.join(codes)}, saw {shown(saw)}"


CONSTANTS = {"None": None, "False": False}
"""Parts of a key that are the same in every frame, but for whole numbers."""


class MessageCompiler:
    """Writes one message."""

    def __init__(self, name: str, says: Says, around: Around, problems: Problems) -> None:
        says = put_together(says, problems)
        self.name, self.says, self.around, self.problems = name, says, around, problems
        self.code = Code()
        self.values = Values(self.code, around.layout, problems)
        self.tables = Tables(says, self.values, around.requests, around.kept, problems)
        self.parts: Parts | None = None
        self.steady = True

    def compile(self) -> Message | None:
        """The message; None when something is wrong, which is told."""
        before = len(self.problems)
        for check in self.around.checks:
            write_check(check, self.values)
        self._text()
        self._place([name for name, said in self.says.fields.items() if said.item is None])
        if self.says.repeat:
            self._begin_group()
            self._place([name for name, said in self.says.fields.items() if said.item is not None])
        sources = self.tables.sources()
        self._keep()
        formers = [self._reading(place, said, sources) for place, said in enumerate(self.says.readings)]
        if len(self.problems) > before or None in formers:
            return None
        self._finish([former for former in formers if former])
        if self.values.needs and self.around.layout.length is None:
            self._long_enough()
        decode, trace, source = self.code.functions(f"decode_{self.name}")
        return Message(
            name=self.name,
            says=self.says,
            decode=decode,
            trace=trace,
            source=source,
            steady=self.steady and self.tables.steady,
            formers=tuple(former for former in formers if former),
            values=dict(self.values.known),
            header_by=self.says.split.by if self.says.split and self.parts and self.parts.has_header else b"",
        )

    def _long_enough(self) -> None:
        """Code that rejects a frame that has not all the bytes that are looked at."""
        needs = self.values.needs
        reason = self.code.constant(f"too short: at least {needs} bytes are looked at", "why")
        uneven = self.around.layout.uneven
        text = body(self.values, b"", self.around.ends) if uneven else "f"
        self.code.first(f"if len({text}) < {needs + (0 if uneven else self.around.layout.tail)}: return {reason}")

    # -- where the fields are ---------------------------------------------------

    def _text(self) -> None:
        says, values, ends = self.says, self.values, self.around.ends
        ways = [way for way, said in (("text", says.text), ("pattern", says.pattern), ("split", says.split)) if said]
        if len(ways) > 1:
            says.where.tell(self.problems, ways[1], expected="one of text, pattern and split", saw=" and ".join(ways))
        numbers = {said.value for said in says.readings}
        if says.text:
            Template(says, values, ends, numbers).write()
            late_values(says, values, holes(says.text))
            self._one_place(holes(says.text), "text")
        elif says.pattern:
            self._one_place(Pattern(says, values, ends, numbers).write(), "pattern")
        elif says.split:
            self.parts = Parts(says, values, self.around.starts[0] if self.around.starts else b"", ends)
            self.parts.write()
            self.steady = not self.parts.has_header
        if says.repeat and not says.split:
            says.where.tell(self.problems, "repeat", expected="`split` beside it", saw="no such key")

    def _one_place(self, names: list[str], key: str) -> None:
        """Tell of fields whose place both the line and they themselves say."""
        for name in names:
            said = self.says.fields.get(name)
            ways = [way for way in ("byte", "bytes", "part", "item", "digits") if said and getattr(said, way)]
            if said and ways:
                said.where.tell(self.problems, ways[0], expected=f"one place: `{key}` has {name!r} too", saw="two")

    def _begin_group(self) -> None:
        """Readings of a repeated group are gathered in a loop."""
        assert self.says.repeat
        if not self.says.readings:
            self.says.where.tell(self.problems, "repeat", expected="readings of the group", saw="none")
        first = self.says.repeat.from_part - 1
        self.code.add("out = []")
        self.code.add(f"for g in range({first}, len(parts), {self.says.repeat.every}):")
        self.code.indent()

    def _place(self, names: list[str]) -> None:
        """Code of fields, and that those which must be a code are."""
        for name in names:
            said = self.says.fields[name]
            if name not in self.values.known:
                self._field(name, said)
            value = self.values.known.get(name)
            if said.value and value is not None and self.tables.is_code(said, value, "is"):
                codes = self.code.constant(frozenset(self.tables.codes(said, value, said.value)), "codes")
                why = self.code.constant(_unlike(name, said.value), "why")
                self.code.add(f"if {value.expr} not in {codes}: return {why}({value.expr})")

    def _field(self, name: str, said: Field) -> None:
        if said.digits:
            if Display(self.values, said).sound():
                self.values.hold(Value(kind="display", name=name, field=said))
            return
        value = self._part(name, said) if said.part or said.item else self._placed(name, said)
        if value is not None and value.kind == "int" and name not in self.says.fields:
            self.values.known[name] = value  # a reading's own number is used once
        elif value is not None:
            self.values.hold(value)

    def _placed(self, name: str, said: Field) -> Value | None:
        if said.byte or said.bytes or said.bits:
            return self.values.placed(name, said)
        hint = f"or write {{{name}}} in `text`" if self.says.text else ""
        hint = "`register` is a place beside `modbus` alone" if said.register is not None else hint
        said.where.tell(
            self.problems, expected="where it stands: byte, bytes, bits, part or digits", saw="no place", hint=hint
        )
        return None

    def _part(self, name: str, said: Field) -> Value | None:
        if self.parts is None:
            said.where.tell(self.problems, expected="`split` in the message, for its parts", saw="no such key")
            return None
        if said.item:
            if not self.says.repeat or said.item > self.says.repeat.every:
                said.where.tell(
                    self.problems, "item", expected="an item of the group that `repeat` says", saw=str(said.item)
                )
                return None
            text = f"parts[g + {said.item - 1}]"
        else:
            if not self.parts.sound(said.part, said.where):
                return None
            text = self.parts.expression(said.part)
        used = any(reading.value == name for reading in self.says.readings) or name.startswith(OWN)
        kind = self.values.kind_of(said, None) if said.kind else Kind(name="decimal" if used else "text")
        if kind is None:
            return None
        if kind.size is not None or kind.name.endswith("bcd"):
            said.where.tell(self.problems, "as", expected="a kind of text: decimal, digits, hex, text", saw=said.kind)
            return None
        return self.values.of_bytes(name, said, text, kind, f"part {said.part or said.item}")

    # -- the readings --------------------------------------------------------------

    def _reading(self, place: int, said: Shows, sources: Sources) -> Former | None:
        """Code of one reading; answers what finds its form."""
        name, said_field = said.value, None
        if not said.value:
            name = f"{OWN}{place}"
            said_field = replace(
                bare(Field, said.where),
                byte=said.byte,
                bytes=said.bytes,
                part=said.part,
                item=said.item,
                register=said.register,
                kind=said.kind,
                special=said.special,
            )
            self._field(name, said_field)
            if name not in self.values.known:
                return None
        quantity = said.quantity or (implied(said.unit) if said.unit else None)
        if said.mode and quantity in WITHOUT_MODE:
            wrong = contradicted(said.mode, quantity)
            said.where.tell(self.problems, "mode", expected="no mode beside this quantity", saw=wrong)
        mine = self.tables.mine(said, sources)
        special = self.tables.special(name, said)
        channel = None if said.channel.startswith("{") else said.channel or None
        fixed = (
            (
                "the reading",
                fixed_facts(
                    quantity=said.quantity, unit=said.unit, mode=said.mode, channel=channel, flags=frozenset(said.flags)
                ),
            ),
            ("the step", said.step or NO_FACTS),
        )
        former = Former(fixed, special, tuple(source for _, source in mine.values()))
        codes = [self.tables.code(expr, source, mine) for expr, source in mine.values()]
        sums = Sums(self.values, self.tables.known, self.tables.special_rows, self.problems)
        key = Numbers(sums).write(place, name, said, special)
        if key is None:
            return None
        former.shapes = key.shapes
        former.always = tuple(CONSTANTS.get(part, SAID) if not part.isdecimal() else int(part) for part in key.parts)
        parts = [part for part in key.parts if part not in CONSTANTS and not part.isdecimal()] + codes
        self._form(place, former, "(" + "".join(f"{part}, " for part in parts) + ")")
        return former

    def _form(self, place: int, former: Former, key: str) -> None:
        kept, make, add = (
            self.code.constant(former.kept, "kept"),
            self.code.constant(former.make, "make"),
            self.code.add,
        )
        self.code.names["Reading"] = Reading
        form, counts = f"form{place}", f"counts{place}"
        add(f"{form} = {kept}.get({key})")
        add(f"if {form} is None:")
        add(f"    entry = {make}({key})")
        add("    if isinstance(entry, str): return entry")
        add(f"    {form}, factor, zero = entry")
        add(f"    if factor is None: {counts} = None")
        add("    elif factor != 1:")
        add(f"        {counts} *= factor")
        add(f"        if not {counts}: {form} = zero")

    # -- the end of the function ------------------------------------------------------

    def _keep(self) -> None:
        for name in self.says.keep:
            value = self.values.known.get(name)
            if value is None or value.kind not in ("int", "bytes"):
                self.says.where.tell(
                    self.problems,
                    "keep",
                    expected="a field of this message",
                    saw=name,
                    hint=near_miss(name, self.values.known),
                )
                continue
            self.steady = False
            self.code.add(f"kept[{self.code.constant(name, 'word')}] = {value.expr}")

    def _finish(self, formers: list[Former]) -> None:
        add = self.code.add
        if self.says.reject:
            self._reject()
            return
        made = [f"Reading(form{place}, counts{place})" for place in range(len(formers))]
        if self.says.repeat:
            for place, reading in enumerate(made):
                add(f"if form{place} is not None: out.append({reading})")
            self.code.dedent()
            add("return tuple(out)")
        elif any(former.may_be_nothing for former in formers):
            add(f"return tuple([r for r in ({', '.join(made)},) if r.form is not None])")
        else:
            add(f"return ({', '.join(made)}{',' if made else ''})")

    def _reject(self) -> None:
        """A frame that says that there is no measurement, with the words of its codes."""
        words = self.code.constant(Refusal(self.says.reject), "why")
        for name, said in self.says.fields.items():
            value = self.values.known.get(name)
            if said.means and value is not None:
                rows = {
                    k: Refusal(f"{self.says.reject}: {facts.reject}")
                    for code, facts in said.means.items()
                    if isinstance(facts, Facts)
                    for k in self.tables.codes(said, value, (code,))
                }
                words = f"{self.code.constant(rows, 'rows')}.get({value.expr}, {words})"
        self.code.add(f"return {words}")
