"""A recording played as a link, at its own pace or faster: `recording:FILE?speed=20`."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, unquote, urlsplit

from meterlog.base import recording
from meterlog.base.errors import MeterlogError
from meterlog.links import LinkLost

if TYPE_CHECKING:
    from collections.abc import Mapping

WAIT_S = 0.2


class PlayedLink:
    """The `in` events of a recording, given when their time has come; then silence."""

    def __init__(self, url: str) -> None:
        parts = urlsplit(url)
        path = Path(unquote(parts.path))
        try:
            self._speed = float(parse_qs(parts.query).get("speed", ["1"])[0])
            events = recording.parse(path.read_text(encoding="utf-8"), str(path)).events
        except (OSError, ValueError, MeterlogError) as error:
            raise LinkLost(f"{path} can't be played: {error}", hopeless=True) from None
        self._events = [event for event in events if event.kind in ("in", "line")]
        self._next = 0
        self._began = time.monotonic()
        self._lines: dict[str, bool] = {}

    def read(self) -> bytes:
        deadline = time.monotonic() + WAIT_S
        while self._next < len(self._events):
            event = self._events[self._next]
            due = self._began + event.at / self._speed
            if due > deadline:
                break
            time.sleep(max(0.0, due - time.monotonic()))
            self._next += 1
            if event.kind == "in":
                return event.data
            name, state = event.word.split()
            self._lines[name] = state == "on"
        time.sleep(max(0.0, deadline - time.monotonic()))
        return b""

    def write(self, data: bytes) -> None:
        """A recording does not listen."""

    def control_lines(self) -> Mapping[str, bool]:
        return self._lines

    def line_errors(self) -> Mapping[str, int]:
        return {}

    def close(self) -> None:
        """Nothing is held open."""
