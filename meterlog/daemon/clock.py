"""Both clocks of the machine, and the noticing of steps between them."""

from __future__ import annotations

import mmap
import struct
import time
from pathlib import Path

from meterlog.record.writer import Now

STEP_MS = 500
"""Two clocks that part by more than this between two looks were stepped, not drifting."""

DOUBLE_BYTES = 8
LOOK_AGAIN_S = 0.005
"""How soon a clock that somebody else moves on is looked at again, real s."""

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


class Moment:
    """A moment in a file that two processes share, s of UTC: who plays a recording moves it on, the daemon reads it."""

    def __init__(self, path: Path) -> None:
        with open(path, "r+b") as file:
            self._seconds = memoryview(mmap.mmap(file.fileno(), DOUBLE_BYTES)).cast("d")

    @classmethod
    def made(cls, path: Path, at: float) -> Moment:
        """A new file that holds the moment `at`."""
        path.write_bytes(struct.pack("d", at))
        return cls(path)

    @property
    def at(self) -> float:
        return self._seconds[0]

    def move_to(self, at: float) -> None:
        self._seconds[0] = at


class PlayedClock(Clock):
    """The clock of a recording that is played: it goes on only as its player says.

    However busy the machine is, what is played comes when it came, and no silence is found that was none.
    """

    def __init__(self, moment: Moment) -> None:
        self._moment = moment
        super().__init__()

    def monotonic(self) -> float:
        return self._moment.at

    def utc_ms(self) -> int:
        return round(self._moment.at * 1000)

    def real_s(self, span: float) -> float:
        return min(span, LOOK_AGAIN_S)
