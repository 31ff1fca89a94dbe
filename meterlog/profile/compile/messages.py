"""A message of a profile to what decodes it: frame in, readings or the reason of a rejection out."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Reading
from meterlog.base.source import near_miss
from meterlog.conversation.memory import Memory
from meterlog.conversation.reasons import Refusal
from meterlog.profile.compile.checks import check_of
from meterlog.profile.compile.fields import Fields
from meterlog.profile.compile.lines import body
from meterlog.profile.compile.meaning import Former, fixed_facts
from meterlog.profile.compile.merging import put_together
from meterlog.profile.compile.parts import IsHeader
from meterlog.profile.compile.readings import Numbers
from meterlog.profile.compile.tables import Sources, Tables
from meterlog.profile.compile.values import OWN, Value, Values
from meterlog.profile.compile.view import FrameReader, NotBelieved, ReadStep, View
from meterlog.profile.language.content import Field, Says, Shows
from meterlog.profile.language.facts import NO_FACTS, WITHOUT_MODE, Facts, contradicted, implied
from meterlog.profile.language.words import bare

if TYPE_CHECKING:
    from meterlog.base.source import Problems
    from meterlog.profile.compile.layout import ByteNumbering
    from meterlog.profile.compile.numbers import Digits
    from meterlog.profile.language.wire import Check

ONLY = "reading"
"""The name of the message of a profile that has but one."""
Decode = Callable[[bytes, Memory], "tuple[Reading, ...] | str"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What a message needs to know of the rest of its profile.

    Attributes:
        starts, ends: the marks of a frame.
        requests: what each request's answers mean, by its number; empty where no request says a thing.
        kept: the fields that other messages keep: what they were read as, and their declaration.
        once: those of them that hold for the next message with readings alone.
    """

    layout: ByteNumbering
    checks: tuple[Check, ...] = ()
    starts: tuple[bytes, ...] = ()
    ends: tuple[bytes, ...] = ()
    requests: Mapping[int, Facts] = field(default_factory=dict)
    kept: Mapping[str, Value] = field(default_factory=dict)
    once: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """A compiled message.

    Attributes:
        checks: what proves its frames; the first, that all bytes that are looked at are there.
        steps: what finds its fields, in order. result: the readings of a frame whose fields are found.
        formers: what chose the form of each reading.
        values: the fields as they are read, by name.
        steady: the same bytes always mean the same.
        header_by: what parts the columns, where a line of the message may name them; else nothing.
    """

    name: str
    says: Says
    checks: tuple[Callable[[bytes], None], ...]
    steps: tuple[ReadStep, ...]
    result: Callable[[View], tuple[Reading, ...]]
    formers: tuple[Former, ...]
    values: Mapping[str, Value]
    steady: bool
    header_by: bytes

    def decode(self, frame: bytes, memory: Memory) -> tuple[Reading, ...] | str:
        """The readings of a frame, or why it is not believed."""
        try:
            for check in self.checks:
                check(frame)
            view = View(frame, memory)
            for step in self.steps:
                step(view)
            return self.result(view)
        except NotBelieved as no:
            return no.reason
        except IsHeader:
            return ()

    def explain(self, frame: bytes, memory: Memory) -> tuple[tuple[Reading, ...] | str, dict[str, Any]]:
        """The same, with the fields by name as far as they were found, though a check may differ."""
        view = View(frame, memory)
        meaning = self.decode(frame, memory.copy())
        with contextlib.suppress(NotBelieved, IsHeader, IndexError):
            for step in self.steps:
                step(view)
            for name, value in self.values.items():
                view.values.setdefault(name, value.read(view))
        return meaning, view.values


class MessageCompiler:
    """Makes one message."""

    def __init__(self, name: str, says: Says, around: Around, problems: Problems) -> None:
        says = put_together(says, problems)
        self.name, self.says, self.around, self.problems = name, says, around, problems
        self.values = Values(around.layout, problems)
        self.tables = Tables(says, self.values, around.requests, around.kept, problems)
        self.fields = Fields(says, self.values, self.tables, around.starts, around.ends, problems)

    def compile(self) -> Message | None:
        """The message; None when something is wrong, which is told."""
        before = len(self.problems)
        checks = [self._check(check) for check in self._checks]
        self.fields.lay_out()
        self.fields.place([name for name, said in self.says.fields.items() if said.item is None])
        once, self.values.steps = self.values.steps, []
        if self.says.repeat:
            self.fields.place([name for name, said in self.says.fields.items() if said.item is not None])
        each = self.values.steps
        sources = self.tables.sources()
        self._keep(once)
        made = [self._reading(place, said, sources) for place, said in enumerate(self.says.readings)]
        if len(self.problems) > before or None in made or None in checks:
            return None
        readings = [reading for reading in made if reading]
        if self.values.needs and self.around.layout.length is None:
            checks.insert(0, self._long_enough())
        has_header = bool(self.fields.parts and self.fields.parts.names)
        return Message(
            name=self.name,
            says=self.says,
            checks=tuple(check for check in checks if check),
            steps=tuple(once),
            result=self._result(each, [read for read, _ in readings]),
            steady=self.tables.steady and not self.says.kept and not has_header and not self._forgets,
            formers=tuple(former for _, former in readings),
            values=dict(self.values.known),
            header_by=self.says.split.by if self.says.split and has_header else b"",
        )

    @property
    def _checks(self) -> tuple[Check, ...]:
        """What proves a frame: its own checks, or those of the profile."""
        return self.says.checks if self.says.check else self.around.checks

    @property
    def _forgets(self) -> bool:
        """Whether a frame of it ends what was kept for one message with readings."""
        return bool(self.around.once and self.says.readings and not self.says.repeat)

    def _check(self, check: Check) -> Callable[[bytes], None] | None:
        places = [check.at.first, check.at.last, *([check.over.first, check.over.last] if check.over else [])]
        self.values.reach(check.where, places)
        return check_of(check, self.around.layout, self.problems)

    def _long_enough(self) -> Callable[[bytes], None]:
        """What rejects a frame that has not all the bytes that are looked at."""
        needs, layout = self.values.needs, self.around.layout
        reason = f"too short: at least {needs} bytes are looked at"
        text = body(layout, b"", self.around.ends) if layout.uneven else lambda frame: frame
        least = needs + (0 if layout.uneven else layout.tail)

        def check(frame: bytes) -> None:
            if len(text(frame)) < least:
                raise NotBelieved(reason)

        return check

    # -- the readings --------------------------------------------------------------

    def _reading(
        self, place: int, said: Shows, sources: Sources
    ) -> tuple[Callable[[View], Reading | None], Former] | None:
        """What answers one reading, and what finds its form."""
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
            self.fields.add(name, said_field)
            if name not in self.values.known:
                return None
        quantity = said.quantity or (implied(said.unit) if said.unit else None)
        if said.mode and quantity in WITHOUT_MODE:
            wrong = contradicted(said.mode, quantity)
            said.where.tell(self.problems, "mode", expected="no mode beside this quantity", saw=wrong)
        mine = self.tables.mine(said, sources)
        says = [facts.quantity for _, source in mine.values() for facts in source.says]
        if said.unit and not quantity and not any(says) and not (said.step and said.step.quantity):
            expected = f"the key 'quantity': more than one is shown in {said.unit}"
            said.where.tell(self.problems, "unit", expected=expected, saw="no such key")
        value = self.tables.known(name)
        if value and value.kind == "digits" and said.step and said.step.factor not in (None, 1):
            hint = "what a number with a point is multiplied by is `times`, such as `times 0.5`, in a row of `means`"
            expected = "a step of 1, 0.1, 0.01 …, where the number may have a point of its own"
            said.where.tell(self.problems, "step", expected=expected, saw="another step", hint=hint)
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
        looked_up = tuple(source for _, source in mine.values())
        former = Former(fixed, special, looked_up, is_proved=bool(self._checks))
        digits = Numbers(self.tables.known, self.tables.special_row, [*self.values.known], self.problems).digits(
            name, said
        )
        if digits is None:
            return None
        if said.highest is not None:
            digits = _at_most(said.highest, digits)
        return _shown_by(digits, [read for read, _ in mine.values()], former), former

    # -- the end ------------------------------------------------------------------------

    def _keep(self, steps: list[ReadStep]) -> None:
        for name in self.says.kept:
            value = self.values.known.get(name)
            if value is None or value.kind not in ("int", "bytes"):
                self.says.where.tell(
                    self.problems,
                    "keep",
                    expected="a field of this message that is a code or a whole number",
                    saw=name,
                    hint=near_miss(name, self.values.known),
                )
                continue
            steps.append(_kept(name, value.read))

    def _result(
        self, each: list[ReadStep], readings: list[Callable[[View], Reading | None]]
    ) -> Callable[[View], tuple[Reading, ...]]:
        """What answers the readings: once, or of every group."""
        if self.says.reject:
            return self._rejected()
        if self._forgets:
            return _forgetting(self.around.once, readings)
        if not self.says.repeat:

            def result(view: View) -> tuple[Reading, ...]:
                return tuple([found for read in readings if (found := read(view)) is not None])

            return result
        first, every = self.says.repeat.from_part - 1, self.says.repeat.every

        def results(view: View) -> tuple[Reading, ...]:
            out = []
            for begun in range(first, len(view.parts), every):
                view.group = begun
                for step in each:
                    step(view)
                out += [found for read in readings if (found := read(view)) is not None]
            return tuple(out)

        return results

    def _rejected(self) -> Callable[[View], tuple[Reading, ...]]:
        """A frame that says that there is no measurement, with the words of its codes."""
        words = Refusal(self.says.reject)
        coded: list[tuple[FrameReader, dict[Hashable, Refusal]]] = []
        for name, said in self.says.fields.items():
            value = self.values.known.get(name)
            if said.means and value is not None:
                rows = {
                    key: Refusal(f"{self.says.reject}: {facts.reject}")
                    for code, facts in said.means.items()
                    if isinstance(facts, Facts)
                    for key in self.tables.codes(said, value, (code,))
                }
                coded.append((value.read, rows))

        def refuse(view: View) -> tuple[Reading, ...]:
            said = [rows[read(view)] for read, rows in coded if read(view) in rows]
            raise NotBelieved(said[-1] if said else words)

        return refuse


def _at_most(highest: int, digits: FrameReader) -> FrameReader:
    """Digits whose counts the display can show."""
    why = f"more than the {highest} counts that the display can show"

    def read(view: View) -> Digits:
        found: Digits = digits(view)
        if found.special is None and abs(found.counts) > highest:
            raise NotBelieved(why)
        return found

    return read


def _forgetting(
    once: frozenset[str], readings: list[Callable[[View], Reading | None]]
) -> Callable[[View], tuple[Reading, ...]]:
    """What answers the readings, and forgets what was kept for them alone."""

    def result(view: View) -> tuple[Reading, ...]:
        try:
            return tuple([found for read in readings if (found := read(view)) is not None])
        finally:
            for name in once:
                view.memory.fields.pop(name, None)

    return result


def _kept(name: str, read: FrameReader) -> ReadStep:
    def step(view: View) -> None:
        view.memory.fields[name] = read(view)

    return step


def _shown_by(digits: FrameReader, codes: list[FrameReader], former: Former) -> Callable[[View], Reading | None]:
    """What answers a reading: its digits in the form that its codes choose; None where they say that there is none."""

    def reading(view: View) -> Reading | None:
        shown: Digits = digits(view)
        key = (shown.decimals, shown.width, shown.minus_zero, shown.special, *[read(view) for read in codes])
        form, factor, zero = former.entry(key)
        if form is None:
            return None
        if factor is None:
            return Reading(form, None)
        counts = shown.counts * factor
        return Reading(form if counts or factor == 1 or zero is None else zero, counts)

    return reading
