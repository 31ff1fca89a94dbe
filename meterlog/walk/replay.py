"""Recordings of one session through the walk, exactly as the bench would take them.

Several recordings are links of one session: laid on one clock by when each was started, and played in
order of time. What was recorded as sent, as a line change or as an act is played as such.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongText
from meterlog.base.problem import Place, Problem
from meterlog.base.readings import Frame
from meterlog.conversation.drive import drive
from meterlog.walk import WORDS, is_act, parse_act

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from meterlog.base.recording import Event, Recording
    from meterlog.walk.session import Instrument, Session, SessionEvent


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedLink:
    """The recording of one link; `source` is the instrument's name on the bench."""

    source: str
    recording: Recording
    offset_s: float = 0.0


def aligned(recordings: Sequence[tuple[str, Recording]]) -> list[RecordedLink]:
    """The links on one clock, zero when the first was started; all at zero unless every one tells `started`."""
    starts = [recording.started for _, recording in recordings]
    known = [start for start in starts if start is not None]
    if len(known) < len(starts):
        return [RecordedLink(source=source, recording=recording) for source, recording in recordings]
    zero = min(known)
    return [
        RecordedLink(source=source, recording=recording, offset_s=(start - zero).total_seconds())
        for (source, recording), start in zip(recordings, known, strict=True)
    ]


def check_acts(recording: Recording, name: str) -> None:
    """Raises: WrongText with the lines of a recording whose acts are none."""
    problems = []
    for event in recording.events:
        if event.kind == "act" and not is_act(event.word):
            place = Place(name=name, line=event.line, column=1)
            expected = f"an act, one of {', '.join(WORDS)}"
            problems.append(Problem(place=place, path="", expected=expected, saw=repr(event.word[:60])))
    if problems:
        raise WrongText(problems)


def given(part: RecordedLink, profile: Instrument) -> frozenset[str]:
    """The quantities that an instrument shows anywhere in its recording."""
    outcomes = drive(profile.conversation(), part.recording.events)
    seen = {r.form.quantity for outcome in outcomes if isinstance(outcome, Frame) for r in outcome.readings}
    return frozenset(seen)


def play(session: Session, parts: Sequence[RecordedLink]) -> Iterator[SessionEvent]:
    """Everything that a session makes of the recordings, in order of time."""
    yield from session.start(0.0)
    for at, source, recorded in _in_order(parts):
        yield from _wait(session, at)
        yield from _one(session, source, recorded, at)
    yield from session.end()


def _in_order(parts: Sequence[RecordedLink]) -> Iterable[tuple[float, str, Event]]:
    """All recorded events with their times on the session's clock; ties in the order of the parts."""
    every = [(event.at + part.offset_s, part.source, event) for part in parts for event in part.recording.events]
    return sorted(every, key=lambda entry: entry[0])


def _wait(session: Session, until: float) -> Iterator[SessionEvent]:
    """Let time pass, as a bench does: everything that is due is done when it is due."""
    last: float | None = None
    while (due := session.wake_at) is not None and due <= until and due != last:
        last = due
        yield from session.tick(due)


def _one(session: Session, source: str, recorded: Event, at: float) -> Iterable[SessionEvent]:
    match recorded.kind:
        case "in":
            return session.received(source, recorded.data, at)
        case "out":
            return session.sent(source, recorded.data, at)
        case "line":
            return session.line(source, recorded.word, at)
        case "act":
            return session.act(parse_act(recorded.word), at)
