"""What to ask a polled instrument next, and what an answer belongs to. Time is an argument."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.conversation.moments import micros

if TYPE_CHECKING:
    from collections.abc import Hashable

TIRED = 3
"""After this many requests in a row without an answer, the start-up exchange is done again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PolledRequest:
    """A request as it is sent.

    Attributes:
        index: its number among all requests of the profile, start-up first.
        answers: names of the messages that may answer, empty: any.
        pause: s between its answer and the next request.
        means: what an answer to it means besides what it says itself.
        echo: bytes that come back of it before its answer.
        until: the message that ends its answer; "": the first that comes.
    """

    index: int
    data: bytes
    answers: tuple[str, ...] = ()
    pause: float = 0.0
    means: Hashable = None
    echo: bytes = b""
    until: str = ""

    def may_differ(self, other: PolledRequest) -> bool:
        """Whether the same bytes could mean another thing as an answer to another request."""
        return self.answers != other.answers or self.means != other.means


class Poller:
    """The rounds of requests of one instrument; moments in µs, waits in s.

    A request counts as asked when `sent` tells of it, not when it was handed out: in a replay the
    recording says what was sent, and what is handed out goes nowhere.

    An answer may come after its time. For as long again nothing is asked whose answer could be taken for it; what
    was sent all the same leaves the earlier answer owed.
    """

    def __init__(
        self, first: tuple[PolledRequest, ...], rounds: tuple[PolledRequest, ...], every: float, wait: float
    ) -> None:
        self._first, self._rounds = first, rounds
        self._every, self._wait = micros(every), micros(wait)
        self._queue = [*first, *rounds]
        self._round_began = 0
        self._due = 0
        self._paused_until = 0  # after the last answer
        self._handed: tuple[PolledRequest, int] | None = None
        self._misses = 0
        self._owed: list[tuple[PolledRequest, int]] = []
        self._is_spoiled = False  # the pending request's answer came, and is not believed
        self.pending: PolledRequest | None = None
        self.asked_at = 0

    @property
    def only(self) -> PolledRequest | None:
        """The request that everything answers where there is but one."""
        return self._rounds[0] if len(self._rounds) == 1 else None

    @property
    def deadline(self) -> int | None:
        """When the pending request counts as not answered; None while nothing is waited for."""
        return self.asked_at + self._wait if self.pending is not None and not self._is_spoiled else None

    @property
    def wake_at(self) -> int:
        """When something is to be done."""
        if self.deadline is not None:
            return self.deadline
        return self._due if self._handed is None else self._handed[1] + self._wait

    @property
    def busy_until(self) -> int | None:
        """Until when an answer may still come, or nothing may be sent behind one; None: none is waited for."""
        dues = [until for _, until in self._owed] + ([self._paused_until] if self._paused_until else [])
        if self._handed is not None:
            dues.append(self._handed[1] + self._wait)
        if self.pending is not None:
            dues.append(self.asked_at + (self._wait if self._is_spoiled else 2 * self._wait))
        return max(dues, default=None)

    def not_before(self, at: int) -> None:
        """Ask nothing before a moment."""
        self._due = max(self._due, at)

    def next(self, at: int) -> list[bytes]:
        """What to send now: one request, or none."""
        if self._handed is not None and at >= self._handed[1] + self._wait:
            self._handed = None
        if self.deadline is not None or self._handed is not None or at < self._due:
            return []
        question = self._refilled()[0]
        self._handed = (question, at)
        return [question.data]

    def _refilled(self) -> list[PolledRequest]:
        """What is asked next; the next round, where this one is over."""
        self._queue = self._queue or list(self._rounds)
        return self._queue

    def sent(self, data: bytes, at: int) -> None:
        """Bytes were sent; those of nobody here leave what comes next unasked."""
        if self.deadline is not None and self.pending is not None:
            self._owe(self.pending)
        known = [*self._refilled(), *self._rounds, *self._first]
        question = next((each for each in known if each.data == data), None)
        self.pending, self.asked_at, self._handed, self._is_spoiled = question, at, None, False
        if question == self._rounds[0]:
            self._round_began = at
        if question is not None and question in self._queue:
            del self._queue[: self._queue.index(question) + 1]

    def late(self, at: int) -> PolledRequest:
        """The pending request, given up: its answer is overdue."""
        question, self.pending = self.pending, None
        assert question
        self._owe(question)
        self._misses += 1
        if question in self._first or (self._misses >= TIRED and self._first):
            self._queue = [*self._first, *self._rounds]
            self._misses = 0
        self._schedule(question, at)
        if question.may_differ((self._queue or self._rounds)[0]):
            self._due = max(self._due, self.asked_at + 2 * self._wait)
        return question

    def answered(self, at: int) -> None:
        """The pending request has its answer, or the one that was last given up has it late."""
        question, self.pending, self._misses, self._is_spoiled = self.pending, None, 0, False
        self.owed(at)
        if question is None and self._owed:
            question, _ = self._owed.pop()
        if question is not None:
            self._schedule(question, at)

    def spoiled(self, at: int) -> None:
        """The answer came, and is not believed: nothing more is waited for, though more may come."""
        question = self.pending
        if question is None or self._is_spoiled:
            return
        self._is_spoiled = True
        if question in self._first:
            self._queue = [*self._first, *self._rounds]
        self._schedule(question, at)
        if question in self._first:
            self._due = max(self._due, self.asked_at + self._wait)

    def owed(self, at: int) -> list[PolledRequest]:
        """Earlier requests whose answer may still come, and could be taken for that of the pending one."""
        self._owed = [(question, until) for question, until in self._owed if at <= until]
        pending = self.pending
        return [question for question, _ in self._owed if pending is not None and question.may_differ(pending)]

    def paid(self, question: PolledRequest) -> None:
        """What may be an earlier request's answer has come."""
        self._owed = [entry for entry in self._owed if entry[0] is not question]

    def is_own(self, data: bytes) -> bool:
        """Whether bytes are a request of ours."""
        return any(question.data == data for question in (*self._first, *self._rounds))

    def _owe(self, question: PolledRequest) -> None:
        waiting = [entry for entry in self._owed if entry[1] >= self.asked_at]
        self._owed = [*waiting, (question, self.asked_at + 2 * self._wait)]

    def _schedule(self, question: PolledRequest, at: int) -> None:
        self._due = self._paused_until = at + micros(question.pause)
        if not self._queue:
            self._due = max(self._due, self._round_began + self._every)
