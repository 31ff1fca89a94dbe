"""The one driver of conversations: what came and what was sent, each at its time, and what comes of it.

Live capture, replay, audit, redecoding, `decode`, `explain`, `try`, examples and the bench check all come here: no
other module feeds a conversation, asks it what to send, or ends it. So they cannot come to different readings.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.recording import Event

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from meterlog.base.readings import StreamOutcome
    from meterlog.conversation.conversation import Conversation


def drive(
    conversation: Conversation, timeline: Iterable[Event], write: Callable[[bytes], None] | None = None
) -> Iterator[StreamOutcome]:
    """Every outcome of a timeline, in the order of the stream, to its end.

    Args:
        timeline: events of kind `in` and `out` in order of time; others tell nothing. An `in` without bytes lets
            time pass.
        write: of a live instrument, takes the bytes to send; None: the timeline says what was sent.
    """
    for event in timeline:
        if write is not None:
            yield from _ask(conversation, event.at, write)
        yield from advance(conversation, event)
    yield from end(conversation)


def _ask(conversation: Conversation, at: float, write: Callable[[bytes], None]) -> Iterator[StreamOutcome]:
    requests, outcomes = elapse(conversation, at)
    yield from outcomes
    for request in requests:
        write(request)
        yield from advance(conversation, Event(at, "out", request))


def advance(conversation: Conversation, event: Event) -> list[StreamOutcome]:
    """What one event brings."""
    if event.kind == "in":
        return conversation.feed(event.data, event.at)
    return conversation.sent(event.data, event.at) if event.kind == "out" else []


def elapse(conversation: Conversation, at: float, *, may_ask: bool = True) -> tuple[list[bytes], list[StreamOutcome]]:
    """What time alone brings by a moment, s: bytes to send now, where it may ask, and outcomes."""
    return conversation.poll(at, may_ask=may_ask)


def end(conversation: Conversation) -> list[StreamOutcome]:
    """What is left when the stream is over."""
    return conversation.end()


def received(data: bytes, request: bytes = b"", at: float = 0.0) -> list[Event]:
    """The timeline of bytes that came at once, as the answer to a request where one is said."""
    return [*([Event(at, "out", request)] if request else []), Event(at, "in", data)]
