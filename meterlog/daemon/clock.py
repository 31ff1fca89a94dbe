"""Both clocks of the machine, and the noticing of steps between them."""

from __future__ import annotations

import time
from pathlib import Path

from meterlog.record.writer import Now

STEP_MS = 500
"""Two clocks that part by more than this between two looks were stepped, not drifting."""

_BOOT = Path("/proc/sys/kernel/random/boot_id")


class Clock:
    """The machine's clocks. Tests give a subclass with clocks of their own."""

    def __init__(self) -> None:
        self.boot = _BOOT.read_text().strip() if _BOOT.exists() else "unknown"
        self._apart = self.utc_ms() - round(self.monotonic() * 1000)

    def monotonic(self) -> float:
        """Seconds that only durations are made of."""
        return time.monotonic()

    def utc_ms(self) -> int:
        """Milliseconds of UTC, for the record."""
        return time.time_ns() // 1_000_000

    def now(self) -> Now:
        return Now(self.utc_ms(), round(self.monotonic() * 1000), self.boot)

    def real_s(self, span: float) -> float:
        """How long a span of this clock really takes, s."""
        return span

    def at(self, monotonic: float) -> Now:
        """Both clocks at a moment of the monotonic clock that has just passed, s."""
        now, passed_ms = self.now(), round((self.monotonic() - monotonic) * 1000)
        return Now(now.utc_ms - passed_ms, round(monotonic * 1000), now.boot)

    def step_ms(self) -> int:
        """How far UTC was stepped since the last look, in ms; 0 when it was not."""
        apart = self.utc_ms() - round(self.monotonic() * 1000)
        moved = apart - self._apart
        self._apart = apart
        return moved if abs(moved) > STEP_MS else 0


class FastClock(Clock):
    """A clock that runs faster from now on: for recordings that are played faster than they happened."""

    def __init__(self, speed: float) -> None:
        self._speed = speed
        self._began, self._began_utc_ms = time.monotonic(), time.time_ns() // 1_000_000
        super().__init__()

    def monotonic(self) -> float:
        return self._began + (time.monotonic() - self._began) * self._speed

    def utc_ms(self) -> int:
        return self._began_utc_ms + round((time.monotonic() - self._began) * self._speed * 1000)

    def real_s(self, span: float) -> float:
        return span / self._speed
