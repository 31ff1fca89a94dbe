"""What to ask a polled instrument next, and what an answer belongs to. Time is an argument."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Hashable

TIRED = 3
"""After this many requests in a row without an answer, the start-up exchange is done again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A request as it is sent.

    Attributes:
        index: its number among all requests of the profile, start-up first.
        answers: names of the messages that may answer, empty: any.
        pause: s between its answer and the next request.
        means: what an answer to it means besides what it says itself.
        echo: bytes that come back of it before its answer.
    """

    index: int
    data: bytes
    answers: tuple[str, ...] = ()
    pause: float = 0.0
    means: Hashable = None
    echo: bytes = b""

    def may_differ(self, other: Question) -> bool:
        """Whether the same bytes could mean another thing as an answer to another request."""
        return self.answers != other.answers or self.means != other.means


class Asking:
    """The rounds of requests of one instrument.

    A request counts as asked when `sent` tells of it, not when it was handed out: in a replay the
    recording says what was sent, and what is handed out goes nowhere.

    An answer may come after its time. For as long again nothing is asked whose answer could be taken for it; what
    was sent all the same leaves the earlier answer owed.
    """

    def __init__(self, first: tuple[Question, ...], rounds: tuple[Question, ...], every: float, wait: float) -> None:
        self._first, self._rounds = first, rounds
        self._every, self._wait = every, wait
        self._queue = [*first, *rounds]
        self._round_began = 0.0
        self._due = 0.0
        self._handed: tuple[Question, float] | None = None
        self._misses = 0
        self._owed: list[tuple[Question, float]] = []
        self.pending: Question | None = None
        self.asked_at = 0.0

    @property
    def only(self) -> Question | None:
        """The request that everything answers where there is but one."""
        return self._rounds[0] if len(self._rounds) == 1 else None

    @property
    def wake_at(self) -> float:
        """When something is to be done, s."""
        if self.pending is not None:
            return self.asked_at + self._wait
        if self._handed is not None:
            return self._handed[1] + self._wait
        return self._due

    def not_before(self, at: float) -> None:
        """Ask nothing before a time."""
        self._due = max(self._due, at)

    def next(self, at: float) -> bytes | None:
        """What to send now, if it is time."""
        if self._handed is not None and at >= self._handed[1] + self._wait:
            self._handed = None
        if self.pending is not None or self._handed is not None or at < self._due:
            return None
        if not self._queue:
            self._queue = list(self._rounds)
        question = self._queue[0]
        if question == self._rounds[0]:
            self._round_began = at
        self._handed = (question, at)
        return question.data

    def sent(self, data: bytes, at: float) -> None:
        """Bytes were sent; those of nobody here leave what comes next unasked."""
        known = [*self._queue, *self._rounds, *self._first]
        if self.pending is not None:
            self._owe(self.pending)
        handed = self._handed[0] if self._handed else None
        question = handed if handed and handed.data == data else next((q for q in known if q.data == data), None)
        self.pending, self.asked_at, self._handed = question, at, None
        if question is not None and question in self._queue:
            del self._queue[: self._queue.index(question) + 1]

    def late(self, at: float) -> Question | None:
        """The request whose answer is overdue; it is given up."""
        if self.pending is None or at < self.asked_at + self._wait:
            return None
        question, self.pending = self.pending, None
        self._owe(question)
        self._misses += 1
        if question in self._first or (self._misses >= TIRED and self._first):
            self._queue = [*self._first, *self._rounds]
            self._misses = 0
        self._schedule(question, at)
        if question.may_differ((self._queue or self._rounds)[0]):
            self._due = max(self._due, self.asked_at + 2 * self._wait)
        return question

    def answered(self, at: float) -> None:
        """The pending request has its answer, or the one that was last given up has it late."""
        question, self.pending, self._misses = self.pending, None, 0
        self.owed(at)
        if question is None and self._owed:
            question, _ = self._owed.pop()
        if question is not None:
            self._schedule(question, at)

    def spoiled(self, at: float) -> None:
        """The answer came, and is not believed: nothing more is waited for."""
        question, self.pending = self.pending, None
        if question is None:
            return
        if question in self._first:
            self._queue = [*self._first, *self._rounds]
        self._schedule(question, at)
        if question in self._first:
            self._due = max(self._due, self.asked_at + self._wait)

    def owed(self, at: float) -> list[Question]:
        """Earlier requests whose answer may still come, and could be taken for that of the pending one."""
        self._owed = [(question, until) for question, until in self._owed if at <= until]
        pending = self.pending
        return [question for question, _ in self._owed if pending is not None and question.may_differ(pending)]

    def paid(self, question: Question) -> None:
        """What may be an earlier request's answer has come."""
        self._owed = [entry for entry in self._owed if entry[0] is not question]

    def is_own(self, data: bytes) -> bool:
        """Whether bytes are a request of ours."""
        return any(question.data == data for question in (*self._first, *self._rounds))

    def _owe(self, question: Question) -> None:
        waiting = [entry for entry in self._owed if entry[1] >= self.asked_at]
        self._owed = [*waiting, (question, self.asked_at + 2 * self._wait)]

    def _schedule(self, question: Question, at: float) -> None:
        self._due = at + question.pause
        if not self._queue:
            self._due = max(self._due, self._round_began + self._every)
