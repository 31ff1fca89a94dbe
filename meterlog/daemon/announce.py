"""Announcements to whoever watches the bench: each watcher has a bounded queue, a slow one is let go."""

from __future__ import annotations

import contextlib
import queue
import threading
from typing import TYPE_CHECKING, Any

from meterlog.daemon.events import as_line

if TYPE_CHECKING:
    from meterlog.daemon.events import Announcement

    Line = dict[str, Any]

WAITING_LINES = 500


class Announcer:
    """Gives every announcement to every watcher. Safe to call from any thread."""

    def __init__(self) -> None:
        self._watchers: set[queue.Queue[Line | None]] = set()
        self._lock = threading.Lock()

    def watch(self) -> queue.Queue[Line | None]:
        """A new watcher's queue; None in it is the end."""
        watcher: queue.Queue[Line | None] = queue.Queue(WAITING_LINES)
        with self._lock:
            self._watchers.add(watcher)
        return watcher

    def leave(self, watcher: queue.Queue[Line | None]) -> None:
        with self._lock:
            self._watchers.discard(watcher)

    def tell(self, announcement: Announcement) -> None:
        """Announce; a watcher that has not taken its last lines is let go, and can come again."""
        if not self.is_watched:
            return
        line = as_line(announcement)
        with self._lock:
            for watcher in list(self._watchers):
                try:
                    watcher.put_nowait(line)
                except queue.Full:
                    self._watchers.discard(watcher)
                    self._end(watcher)

    def close(self) -> None:
        with self._lock:
            for watcher in self._watchers:
                self._end(watcher)
            self._watchers.clear()

    @property
    def is_watched(self) -> bool:
        return bool(self._watchers)

    @staticmethod
    def _end(watcher: queue.Queue[Line | None]) -> None:
        with contextlib.suppress(queue.Empty):
            watcher.get_nowait()
        with contextlib.suppress(queue.Full):
            watcher.put_nowait(None)
