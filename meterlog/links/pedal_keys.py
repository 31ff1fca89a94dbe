"""A keyboard-type pedal, read from the kernel's input device: presses and releases, nothing else.

The device is a file of fixed records (`struct input_event` of linux/input.h): time, type, code, value.
While it is read it is grabbed, where the kernel lets us, so that the pedal types into no window.
"""

from __future__ import annotations

import contextlib
import os
import select
import struct
from typing import TYPE_CHECKING

from meterlog.links import LinkLost

if TYPE_CHECKING:
    from collections.abc import Iterator

EVENT = struct.Struct("llHHi")
KEY_EVENT = 1
RELEASED, PRESSED = 0, 1  # 2 is a key that repeats while it is held
GRAB = 0x40044590  # EVIOCGRAB, _IOW('E', 0x90, int)


class Keys:
    """The keys of one input device. Raises: LinkLost, when it can't be opened or goes away."""

    def __init__(self, device: str, wait_s: float = 0.1) -> None:
        self._device, self._wait_s = device, wait_s
        self._rest = b""
        try:
            self._file = os.open(device, os.O_RDONLY | os.O_NONBLOCK)
        except OSError as error:
            hint = "is it plugged in, and are you in the group that owns it?"
            raise LinkLost(f"{device} can't be opened: {error.strerror}", hint=hint) from None
        self._grab()

    def _grab(self) -> None:
        with contextlib.suppress(ImportError, OSError):
            import fcntl

            fcntl.ioctl(self._file, GRAB, 1)

    def read(self) -> list[tuple[int, bool]]:
        """Keys that went down (True) or up since the last look, after at most `wait_s`."""
        if not select.select([self._file], [], [], self._wait_s)[0]:
            return []
        try:
            data = os.read(self._file, 64 * EVENT.size)
        except OSError as error:
            raise LinkLost(f"{self._device} is gone: {error.strerror}", hint="plug it in again") from None
        if not data:
            raise LinkLost(f"{self._device} is gone", hint="plug it in again")
        return list(self._changes(data))

    def _changes(self, data: bytes) -> Iterator[tuple[int, bool]]:
        data = self._rest + data
        whole = len(data) - len(data) % EVENT.size
        self._rest = data[whole:]
        for _, _, kind, code, value in EVENT.iter_unpack(data[:whole]):
            if kind == KEY_EVENT and value in (RELEASED, PRESSED):
                yield code, value == PRESSED

    def close(self) -> None:
        os.close(self._file)
