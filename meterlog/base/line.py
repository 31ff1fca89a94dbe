"""What is said of a line beside its bytes: the rate at which they go out, and at which what answers them comes."""

from __future__ import annotations


class AtBaud(bytes):
    """Bytes to write at a rate of their own.

    Attributes:
        sent_at: bits a second at which they are written; None: the line's own.
        answered_at: bits a second at which the line is read from the end of the last of them; None: as they were sent.
    """

    sent_at: int | None
    answered_at: int | None

    def __new__(cls, data: bytes, *, sent_at: int | None = None, answered_at: int | None = None) -> AtBaud:
        made = super().__new__(cls, data)
        made.sent_at, made.answered_at = sent_at, answered_at
        return made
