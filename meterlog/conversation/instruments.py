"""The conversations with all instruments of a bench, on the bench's clock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

from meterlog.base.recording import Event
from meterlog.conversation.drive import advance, elapse, end

if TYPE_CHECKING:
    from meterlog.base.readings import Outcome
    from meterlog.conversation.conversation import Conversation


class Due(NamedTuple):
    """What time alone brought of one instrument: bytes to write to it now, and outcomes."""

    source: str
    requests: list[bytes]
    outcomes: list[Outcome]


class Instruments:
    """Opened and closed by name. Each conversation and its outcomes count s since it was opened."""

    def __init__(self) -> None:
        self._open: dict[str, tuple[Conversation, float]] = {}
        self._zero: dict[str, float] = {}

    def opened(self, source: str, conversation: Conversation, at: float = 0.0) -> None:
        """A new conversation begins at a time, s on the bench's clock."""
        self._open[source] = conversation, at
        self._zero[source] = at

    def closed(self, source: str) -> list[Outcome]:
        """An instrument's link is gone. Answers what was left of its bytes."""
        conversation, _ = self._open.pop(source)
        return end(conversation)

    @property
    def sources(self) -> list[str]:
        """Those that are open."""
        return list(self._open)

    def zero(self, source: str) -> float:
        """When an instrument was opened last, s on the bench's clock."""
        return self._zero.get(source, 0.0)

    def received(self, source: str, data: bytes, at: float) -> list[Outcome]:
        """Bytes came."""
        return self._advance(source, "in", data, at)

    def sent(self, source: str, data: bytes, at: float) -> list[Outcome]:
        """Bytes were written."""
        return self._advance(source, "out", data, at)

    def _advance(self, source: str, kind: Literal["in", "out"], data: bytes, at: float) -> list[Outcome]:
        conversation, zero = self._open[source]
        return advance(conversation, Event(at - zero, kind, data))

    def due(self, at: float) -> list[Due]:
        """What time alone brings by a moment, of every instrument where it is time."""
        return [
            Due(source, *elapse(conversation, at - zero))
            for source, (conversation, zero) in self._open.items()
            if conversation.wake_at is not None and zero + conversation.wake_at <= at
        ]

    @property
    def wake_at(self) -> float | None:
        """When `due` must be looked at next, s on the bench's clock."""
        times = [(conversation.wake_at, zero) for conversation, zero in self._open.values()]
        return min((zero + at for at, zero in times if at is not None), default=None)
