"""Recordings: a link's bytes with their times, as text that can be read, written and kept in git.

    meterlog recording 1
    profile: handheld-segments
    note: invented bench, leads on a 47 ohm resistor

    0.000 in 15 27 3d
    0.251 out 2a 49 44 4e 3f 0a
    0.300 line cts on
    4.000 act next

After the head and an empty line, one event a line: seconds since the recording began, what it is,
and its data. `in` are bytes from the instrument, `out` bytes to it, `line` a change of a control
line (cts, dsr, dcd, ri), `act` something the person did, in the words of `meterlog.walk.acts`.
`#` begins a comment. Times never go back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal

from meterlog.base.errors import WrongText
from meterlog.base.problem import Place, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

FIRST_LINE = "meterlog recording 1"
HEAD_KEYS = ("profile", "started", "note", "instrument")
LINES = ("cts", "dsr", "dcd", "ri")
_EVENT = re.compile(r"(\d+(?:\.\d+)?)\s+(in|out|line|act)\s+(.*?)\s*")


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a recording, the `line`th. `data` for in and out, `word` for line ("cts on") and act ("next")."""

    at: float
    kind: Literal["in", "out", "line", "act"]
    data: bytes = b""
    word: str = ""
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    head: dict[str, str] = field(default_factory=dict)
    events: tuple[Event, ...] = ()

    @property
    def started(self) -> datetime | None:
        """When it began, in UTC where no zone is told; None where the head does not say."""
        return _moment(self.head.get("started", ""))

    @property
    def received(self) -> bytes:
        """All bytes from the instrument, joined."""
        return b"".join(event.data for event in self.events if event.kind == "in")


def parse(text: str, name: str) -> Recording:
    """The recording written in a text. Raises: WrongText with the lines that are wrong."""
    lines = text.removeprefix("\ufeff").splitlines()
    problems: list[Problem] = []

    def wrong(number: int, expected: str, saw: str) -> None:
        problems.append(Problem(place=Place(name=name, line=number, column=1), path="", expected=expected, saw=saw))

    if not lines or lines[0].strip() != FIRST_LINE:
        wrong(1, f"the line {FIRST_LINE!r}", repr(lines[0][:60]) if lines else "an empty file")
        raise WrongText(problems)
    head: dict[str, str] = {}
    events: list[Event] = []
    in_head, last = True, 0.0
    for number, raw in enumerate(lines[1:], start=2):
        line = raw.split("#", 1)[0].strip() if not in_head else raw.strip()
        if in_head:
            if not line:
                in_head = False
            elif not line.startswith("#"):
                key, colon, value = line.partition(":")
                if not colon or key not in HEAD_KEYS:
                    wrong(number, f"one of the head's keys {', '.join(HEAD_KEYS)}, or an empty line", repr(line[:60]))
                elif key in head:
                    wrong(number, "each key of the head once", repr(line[:60]))
                elif key == "started" and _moment(value.strip()) is None:
                    wrong(number, "a date and time such as 2026-03-01T09:30:00Z", repr(value.strip()[:60]))
                head[key] = value.strip()
            continue
        if not line:
            continue
        event = _event(line, number)
        if event is None:
            wrong(number, 'an event such as "0.250 in 55 aa" or "4.0 act next"', repr(line[:60]))
        elif event.at < last:
            wrong(number, f"a time of {last} s or later", f"{event.at} s")
        else:
            last = event.at
            events.append(event)
    if problems:
        raise WrongText(problems)
    return Recording(head=head, events=tuple(events))


def _moment(text: str) -> datetime | None:
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return None
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when


def _event(line: str, number: int) -> Event | None:
    match = _EVENT.fullmatch(line)
    if not match:
        return None
    at, kind, rest = float(match[1]), match[2], match[3]
    if kind == "in" or kind == "out":
        packed = rest.replace(" ", "")
        if len(packed) % 2 or not re.fullmatch(r"[0-9A-Fa-f]*", packed):
            return None
        return Event(at, "in" if kind == "in" else "out", bytes.fromhex(packed), line=number)
    if kind == "line":
        if not re.fullmatch(rf"({'|'.join(LINES)}) (on|off)", rest):
            return None
        return Event(at, "line", word=rest, line=number)
    return Event(at, "act", word=rest, line=number) if rest else None


def event_line(event: Event) -> str:
    """The line of one event, without its end."""
    rest = event.data.hex(" ") if event.kind in ("in", "out") else event.word
    return f"{event.at:.3f} {event.kind} {rest}".rstrip()


def head_lines(head: dict[str, str]) -> Iterable[str]:
    """The lines before the first event, the empty one included."""
    yield FIRST_LINE
    yield from (f"{key}: {value}" for key, value in head.items())
    yield ""


def write(recording: Recording) -> str:
    """The text of a recording; `parse` of it is the recording again (times to the millisecond)."""
    return "\n".join([*head_lines(recording.head), *map(event_line, recording.events)]) + "\n"
