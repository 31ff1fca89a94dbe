"""How a frame was read: which bytes became which field, by which line of the profile, and where it failed."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Frame, Rejected
from meterlog.conversation.drive import drive, received
from meterlog.conversation.reasons import Unlike
from meterlog.profile.compile.cutting import layout_of
from meterlog.profile.compile.examples import shown
from meterlog.profile.compile.meaning import Lamps, Source, Table
from meterlog.profile.compile.meaning import shown as shown_code
from meterlog.profile.compile.numbers import Digits
from meterlog.profile.compile.values import OWN
from meterlog.profile.language.facts import facts_in_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meterlog.base.readings import Reading, StreamOutcome
    from meterlog.base.recording import Event
    from meterlog.base.schema import Where
    from meterlog.conversation.memory import Memory
    from meterlog.profile.compile.compiler import Profile
    from meterlog.profile.compile.layout import ByteNumbering
    from meterlog.profile.compile.messages import Message
    from meterlog.profile.language.content import Field, Shows

ROW = 16
Seen = tuple[bytes, "Memory", "tuple[Reading, ...] | str"]
"""A frame as it was decoded, what was kept then, and what the decoder answered."""


class Explainer:
    """Explains what one profile makes of bytes."""

    def __init__(self, profile: Profile) -> None:
        assert profile.said.frame
        self.profile = profile
        self.layout: ByteNumbering = layout_of(profile.said.frame, profile.said.first_byte)

    def stream(self, data: bytes, request: bytes = b"") -> list[str]:
        """Lines on every outcome of a stream of bytes; `request` is what it answers."""
        return self.timeline(received(data, request), None)

    def timeline(self, events: Iterable[Event], most: int | None) -> list[str]:
        """Lines on the first outcomes of what came and was sent."""
        seen: list[Seen] = []
        conversation = self.profile.conversation(watch=lambda *told: seen.append(told))
        lines: list[str] = []
        for outcome in islice(drive(conversation, events), most):
            lines += [*self.outcome(outcome, _seen_as(outcome, seen)), ""]
        return lines[:-1]

    def outcome(self, outcome: StreamOutcome, seen: tuple[bytes, Memory] | None) -> list[str]:
        """Lines on one outcome; `seen`: the frame as it was decoded and what was kept then."""
        lines = _dump(outcome)
        if seen is not None:
            frame, kept = seen
            if frame != outcome.raw:
                lines += ["  as cut  " + frame.hex(" ")]
            lines += self._frame(frame, kept)
        if isinstance(outcome, Rejected):
            lines.append(f"  rejected: {outcome.reason}")
        elif isinstance(outcome, Frame):
            lines += [f"  shows   {shown(reading)}" for reading in outcome.readings] or ["  shows   nothing"]
        return lines

    def _frame(self, frame: bytes, kept: Memory) -> list[str]:
        for message in self.profile.messages:
            known = message.says.when is None or len(self.profile.messages) == 1
            is_it = known or _may_be(self.profile, message, frame, kept)
            result, found = message.explain(frame, kept.copy()) if is_it else (None, {})
            if result is None or (isinstance(result, Unlike) and len(self.profile.messages) > 1):
                continue
            return [f"  message {message.name}{_line(message.says.where)}", *self._fields(message, frame, found)]
        return []

    def _fields(self, message: Message, frame: bytes, found: dict[str, Any]) -> list[str]:
        tables = {s.who: s for f in message.formers for s in f.sources if isinstance(s, Table)}
        lines = []
        for name, field in message.says.fields.items():
            lines.append(self._row(name, field, frame, found, tables.get(name)))
        for name in found:
            if name not in message.says.fields and not name.startswith(OWN):
                lines.append(f"  {'text':<12} {'':<24} {name} = {_value(name, found)}")
        for place, reading in enumerate(message.says.readings):
            if not reading.value:
                lines.append(self._row(f"{OWN}{place}", reading, frame, found, None, reading.channel or "value"))
        for source in {id(s): s for f in message.formers for s in f.sources if isinstance(s, Lamps)}.values():
            lines += self._lamps(message, frame, source)
        return lines

    def _row(
        self, name: str, said: Field | Shows, frame: bytes, found: dict[str, Any], table: Source | None, title: str = ""
    ) -> str:
        place, raw = self._place(said, frame)
        value = _value(name, found)
        words = f"  {place:<12} {raw:<24} {title or name} = {value}"
        if isinstance(table, Table) and name in found:
            code = found[name]
            under = getattr(said, "under", "")
            code = (found.get(under), code) if under else code
            facts = table.rows.get(table.row(code))
            words += f", {facts_in_words(facts)}" if facts is not None else f", no meaning for {shown_code(code)}"
        return words + _line(said.where)

    def _place(self, said: Field | Shows, frame: bytes) -> tuple[str, str]:
        span = said.byte or said.bytes
        if span is not None:
            first, end = self.layout.bounds(span)
            return f"byte {span}" if span.first == span.last else f"bytes {span}", frame[first:end].hex(" ")
        bits = getattr(said, "bits", None)
        if bits:
            return "bits " + " ".join(map(str, bits)), ""
        if getattr(said, "digits", ()):
            return "segments", ""
        if said.part or said.item:
            return f"part {said.part or said.item}", ""
        return "text", ""

    def _lamps(self, message: Message, frame: bytes, lamps: Lamps) -> list[str]:
        lines = []
        for bits, facts in message.says.bits.items():
            place = bits[0]
            index = self.layout.index(place.byte)
            if -len(frame) <= index < len(frame) and frame[index] >> place.high & 1:
                lines.append(f"  bit {place!s:<8} {'1':<24} {facts_in_words(facts)}")
        return lines


def _seen_as(outcome: StreamOutcome, seen: list[Seen]) -> tuple[bytes, Memory] | None:
    """The frame of an outcome as it was decoded; None for bytes that were not."""
    said = outcome.readings if isinstance(outcome, Frame) else getattr(outcome, "reason", None)
    for place, (frame, kept, answer) in enumerate(seen):
        if answer == said:
            del seen[: place + 1]
            return frame, kept
    return None


def _value(name: str, found: dict[str, Any]) -> str:
    """A field's value, as far as it was found."""
    value = found.get(name)
    if isinstance(value, Digits):
        return shown_code(value.special) if value.special is not None else _shown_digits(value)
    if isinstance(value, bytes):
        return repr(value.decode("latin-1"))
    if isinstance(value, int) and value >= 0:
        return f"{value} (0x{value:X})"
    return "not reached" if value is None else str(value)


def _shown_digits(digits: Digits) -> str:
    """Digits as the frame shows them."""
    sign = "-" if digits.counts < 0 or digits.minus_zero else ""
    number = f"{abs(digits.counts):0{digits.width + max(digits.decimals or 0, 0)}d}"
    places = digits.decimals or 0
    if places > 0:
        return f"{sign}{number[:-places]}.{number[-places:]}"
    return f"{sign}{number}" + (f"E{-places}" if places else "")


def _may_be(profile: Profile, message: Message, frame: bytes, kept: Memory) -> bool:
    return message in profile.candidates(frame, kept)


def _line(where: Where) -> str:
    return f"   [line {where.place.line}]" if where.place else ""


def _dump(outcome: StreamOutcome) -> list[str]:
    """The bytes of an outcome in hex and as text."""
    kind = {"Frame": "frame", "Rejected": "frame", "Skipped": "skipped"}[type(outcome).__name__]
    lines = [f"{kind} at {outcome.start}, {len(outcome.raw)} bytes"]
    for at in range(0, min(len(outcome.raw), 256), ROW):
        row = outcome.raw[at : at + ROW]
        text = "".join(chr(c) if 32 <= c < 127 else "." for c in row)
        lines.append(f"  {at:>4}  {row.hex(' '):<48} {text}")
    return lines
