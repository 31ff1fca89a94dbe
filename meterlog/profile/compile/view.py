"""What the readers of a profile look at while they read one frame."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meterlog.conversation.memory import Memory


class NotBelieved(Exception):
    """A frame gives no reading; `reason` says why."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class View:
    """One frame, and what has been read of it.

    Attributes:
        memory: what earlier frames and requests said.
        values: the fields so far, by name.
        texts: the parts of a line that a pattern found, by the name of their field.
        parts: a split line. group: the part of it that the repeated group at hand begins with.
    """

    __slots__ = ("frame", "group", "memory", "parts", "texts", "values")

    def __init__(self, frame: bytes, memory: Memory) -> None:
        self.frame, self.memory = frame, memory
        self.values: dict[str, Any] = {}
        self.texts: dict[str, Any] = {}
        self.parts: list[bytes] = []
        self.group = 0


FrameReader = Callable[[View], Any]
"""Finds one thing in a frame. Raises: NotBelieved."""
ReadStep = Callable[[View], None]
"""Looks at a frame and keeps what it finds in the view. Raises: NotBelieved."""
