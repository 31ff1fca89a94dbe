"""Which message a frame is: by what it is known by, and by what was asked."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.conversation.memory import Memory
from meterlog.conversation.reasons import Damage, Unlike
from meterlog.profile.compile.codes import code_key
from meterlog.profile.compile.meaning import shown
from meterlog.profile.compile.parts import may_be_header
from meterlog.profile.compile.values import Values
from meterlog.profile.compile.view import NotBelieved, View
from meterlog.profile.language.content import Field
from meterlog.profile.language.words import bare

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable

    from meterlog.base.readings import Reading
    from meterlog.base.source import Problems
    from meterlog.profile.compile.layout import ByteNumbering
    from meterlog.profile.compile.messages import Message
    from meterlog.profile.compile.view import FrameReader
    from meterlog.profile.language.content import When

UNASKED = "more than one request could have asked for this, and what was asked is not known"


class Chooser:
    """Tries messages in the order written; the first that a frame is known by decides.

    Args:
        asks: what a frame means depends on the request that it answers.
    """

    def __init__(self, messages: tuple[Message, ...], layout: ByteNumbering, *, asks: bool, problems: Problems) -> None:
        self.messages = messages
        self.asks = asks
        self._by_start: dict[bytes, list[int]] = {}
        self._by_place: dict[Hashable, CodesAtPlace] = {}
        for at, message in enumerate(messages):
            when = message.says.when
            place = codes_at_place(when, layout, problems) if when and (when.byte or when.bytes or when.bits) else None
            if when is not None and place is not None:
                same = self._by_place.setdefault((when.byte, when.bytes, when.bits, when.kind), place)
                for code in place.rows:
                    same.rows.setdefault(code, []).append(at)
            else:
                self._by_start.setdefault(when.starts if when else b"", []).append(at)
        self._first_bytes = {message.name: _first_bytes(message) for message in messages}
        self._sizes = sorted(set(map(len, self._by_start)))
        only = messages[0] if len(messages) == 1 else None
        alone = only is not None and only.says.when is None and not asks
        self.decode: Callable[[bytes, Memory], tuple[Reading, ...] | str] = (
            only.decode if only is not None and alone else self._decode
        )

    def candidates(self, frame: bytes, kept: Memory) -> list[Message]:
        """The messages that a frame may be, given what was asked."""
        places = [at for size in self._sizes for at in self._by_start.get(frame[:size], ())]
        for place in self._by_place.values():
            places += place.messages(frame)
        return [message for message in self._allowed(kept, sorted(places)) if _begins_as(message, frame)]

    def _allowed(self, kept: Memory, places: Iterable[int] | None = None) -> list[Message]:
        """The messages that may come now, given what was asked; of some, by their places, or of all."""
        asked = kept.request
        names = asked.answers if asked is not None else ()
        some = self.messages if places is None else [self.messages[place] for place in places]
        return [message for message in some if not names or message.name in names]

    def doubt(self, seen: bytes, reason: str, kept: Memory, is_frame: bool) -> None:
        """Forget what bytes that are not believed may have told: as the message that they look like, or as any."""
        like = self.candidates(seen, kept) if is_frame and not isinstance(reason, Damage) else []
        for message in like or self._allowed(kept):
            for name in message.says.kept:
                kept.fields.pop(name, None)
            if message.header_by and kept.columns and may_be_header(seen, message.header_by, kept.columns):
                kept.columns = ()

    def _unlike(self, frame: bytes) -> str:
        """Why a frame is no message, as near as can be told."""
        for message in self.messages:
            when = message.says.when
            if when and when.length and when.length != len(frame) and when.starts and frame.startswith(when.starts):
                return f"begins as {message.name} does, but has {len(frame)} bytes, not {when.length}"
        places = list(self._by_place.values())
        if len(places) == 1 and not self._by_start and (code := places[0].code(frame)) is not None:
            return f"{places[0].name}: {shown(code)} is the code of no message"
        return "its first bytes, its length and what tells messages apart are those of no message"

    def _decode(self, frame: bytes, kept: Memory) -> tuple[Reading, ...] | str:
        found = self.candidates(frame, kept)
        if not found:
            return Unlike(self._unlike(frame))
        if self.asks and kept.request is None and len([m for m in found if m.says.readings]) > 1:
            return UNASKED
        said: tuple[Reading, ...] | str = ""
        for message in found:
            if len(found) > 1 and not frame.startswith(self._first_bytes[message.name]):
                continue  # its text could not match
            kept.message = message.name
            said = message.decode(frame, kept)
            if not isinstance(said, Unlike) or message.says.when:
                return said
        return said if len(found) == 1 else Unlike("looks like no message of the profile")


def _first_bytes(message: Message) -> bytes:
    """What every frame of a message begins with that nothing but its text tells; nothing where a check comes first."""
    return b"" if message.checks else re.split("[{ ]", message.says.text)[0].encode("latin-1")


def _begins_as(message: Message, frame: bytes) -> bool:
    """Whether a frame has the first bytes and the length that a message is known by."""
    when = message.says.when
    return when is None or (frame.startswith(when.starts) and when.length in (None, len(frame)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CodesAtPlace:
    """A place of a frame that tells messages apart, and which message each code there is.

    Attributes:
        name: the place as the profile writes it.
        least: bytes of the shortest frame that has it.
        rows: of each code, where its messages stand in the order of all.
    """

    name: str
    read: FrameReader
    least: int
    rows: dict[Hashable, list[int]]

    def messages(self, frame: bytes) -> list[int]:
        """Where the messages stand that a frame may be."""
        return self.rows.get(self.code(frame), [])

    def code(self, frame: bytes) -> Hashable:
        """The code of a frame; None where it has none."""
        if len(frame) < self.least:
            return None
        try:
            code: Hashable = self.read(View(frame, Memory()))
        except NotBelieved:
            return None
        return code


def codes_at_place(when: When, layout: ByteNumbering, problems: Problems) -> CodesAtPlace | None:
    """The place of a `when`, with its codes and no messages yet; None where it is wrong, which is told."""
    values = Values(layout, problems)
    field = replace(bare(Field, when.where), byte=when.byte, bytes=when.bytes, bits=when.bits, kind=when.kind)
    value = values.placed("told", field)
    if value is None or value.kind not in ("int", "bytes"):
        when.where.tell(values.problems, expected="a place with a code", saw=when.kind or "no such place")
        return None
    try:
        rows: dict[Hashable, list[int]] = {code_key(value, code): [] for code in when.value}
    except ValueError as error:
        when.where.tell(
            values.problems, "is", expected="codes as they are read", saw=" ".join(when.value), hint=str(error)
        )
        return None
    if not rows:
        when.where.tell(values.problems, expected="the key 'is': the codes that stand there", saw="no such key")
    least = values.needs + (0 if layout.uneven else layout.tail) if values.needs else 0
    span = when.byte or when.bytes
    name = (f"byte {span}" if span.first == span.last else f"bytes {span}") if span else "bits"
    return CodesAtPlace(name=name, read=value.read, least=least, rows=rows)
