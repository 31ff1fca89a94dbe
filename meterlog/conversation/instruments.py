"""The conversations with all instruments of a bench, on the bench's clock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

from meterlog.base.recording import Event
from meterlog.conversation.drive import advance, elapse, end

if TYPE_CHECKING:
    from meterlog.base.readings import StreamOutcome
    from meterlog.conversation.conversation import Conversation


class Due(NamedTuple):
    """What time alone brought of one instrument: bytes to write to it now, and outcomes."""

    source: str
    requests: list[bytes]
    outcomes: list[StreamOutcome]


class Instruments:
    """Opened and closed by name. Each conversation and its outcomes count s since it was opened.

    Instruments that share a line speak in turn: while one may still be answered no other is asked, and what comes is
    taken to answer the one that was asked last.
    """

    def __init__(self) -> None:
        self._open: dict[str, tuple[Conversation, float]] = {}
        self._zero: dict[str, float] = {}
        self._lines: dict[str, str] = {}
        self._asked: dict[str, float] = {}  # when each was asked last, those asked first before the others

    def opened(self, source: str, conversation: Conversation, at: float = 0.0, line: str = "") -> None:
        """A new conversation begins at a time, s on the bench's clock; `line`: the one that it shares with others."""
        self._open[source] = conversation, at
        self._zero[source] = at
        self._lines[source] = line

    def closed(self, source: str) -> list[StreamOutcome]:
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

    def answering(self, source: str) -> str:
        """Whose bytes come on an instrument's line now: those of the one on it that was asked last."""
        line = self._lines.get(source)
        asked = [name for name in self._asked if name in self._open and self._lines[name] == line]
        return asked[-1] if line and asked else source

    def received(self, source: str, data: bytes, at: float) -> list[StreamOutcome]:
        """Bytes came."""
        return self._advance(source, "in", data, at)

    def sent(self, source: str, data: bytes, at: float) -> list[StreamOutcome]:
        """Bytes were written."""
        self._asked.pop(source, None)
        self._asked[source] = at
        return self._advance(source, "out", data, at)

    def _advance(self, source: str, kind: Literal["in", "out"], data: bytes, at: float) -> list[StreamOutcome]:
        conversation, zero = self._open[source]
        return advance(conversation, Event(at - zero, kind, data))

    def due(self, at: float) -> list[Due]:
        """What time alone brings by a moment, of every instrument where it is time; who waited longest asks first."""
        found = []
        for source in sorted(self._open, key=lambda name: self._asked.get(name, -1.0) if self._lines[name] else -1.0):
            wake_at = self._wake_at(source)
            if wake_at is not None and wake_at <= at:
                conversation, zero = self._open[source]
                may_ask = self._free_at(source) <= at
                found.append(Due(source, *elapse(conversation, at - zero, may_ask=may_ask)))
        return found

    @property
    def wake_at(self) -> float | None:
        """When `due` must be looked at next, s on the bench's clock."""
        times = [self._wake_at(source) for source in self._open]
        return min((at for at in times if at is not None), default=None)

    def _wake_at(self, source: str) -> float | None:
        """When time alone brings something of an instrument; asking it waits until its line is free."""
        conversation, zero = self._open[source]
        own, completes = conversation.wake_at, conversation.completes_at
        if own is None:
            return None
        asks = max(zero + own, self._free_at(source))
        return asks if completes is None else min(asks, zero + completes)

    def _free_at(self, source: str) -> float:
        """From when on nobody on an instrument's line may still be answered, itself from before neither."""
        line = self._lines[source]
        sharing = [each for each in self._open if line and self._lines[each] == line]
        busy = [(self._zero[each], self._open[each][0].busy_until) for each in sharing]
        return max((zero + until for zero, until in busy if until is not None), default=0.0)
