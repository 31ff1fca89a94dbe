"""Serial ports and network serial ports, through pyserial's `serial_for_url`."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import grp
import io
import os
import select
import stat
import struct
import termios
import threading
from typing import TYPE_CHECKING

import serial

from meterlog.links import LinkLost

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.links.settings import LineSettings

MOST = 4_096
"""Most bytes taken in one `read`, so that a flood is met in pieces."""

WRITE_WITHIN_S = 0.25
"""A port that takes no bytes for so long is lost: whoever writes must not be held up by one instrument."""

COUNTS = struct.Struct("20i")
COUNTED = {"framing": 6, "overrun": 7, "parity": 8, "break": 9, "port buffer full": 10}
"""What TIOCGICOUNT answers, and where in it. Source: Linux, include/uapi/linux/serial.h, serial_icounter_struct."""

FAILURES = (serial.SerialException, OSError, TypeError, termios.error)
"""What a port that went away raises, from whichever layer notices first."""


class SerialLink:
    """One open port, held exclusively. Raises: LinkLost from its constructor and methods.

    One thread reads and closes, another may write: the guard keeps a write from meeting a file
    number that was closed and given to another port.
    """

    def __init__(self, url: str, settings: LineSettings, wait_s: float) -> None:
        self.url = url
        self._has_lines = True
        self._wait_s = wait_s
        self._guard = threading.Lock()
        self._broken: LinkLost | None = None
        self._settings = settings
        self._answer: threading.Timer | None = None  # sets the rate at which an answer comes
        try:
            port = serial.serial_for_url(url, do_not_open=True)
            port.baudrate = settings.baud
            port.bytesize = settings.data_bits
            port.parity = settings.parity
            port.stopbits = settings.stop_bits
            port.timeout = wait_s
            if not url.startswith("rfc2217://"):  # which has a limit of its own and refuses another
                port.write_timeout = WRITE_WITHIN_S
            if "://" not in url or url.startswith("hwgrep://"):
                port.exclusive = True
            for level, name in ((settings.dtr, "dtr"), (settings.rts, "rts")):
                if level is not None:
                    with contextlib.suppress(OSError):
                        setattr(port, name, level)
            port.open()
        except (serial.SerialException, OSError, ValueError, termios.error) as error:
            raise why_not(url, error) from None
        self._port = port
        self._ready = _poll_of(port)
        self._before = self._counted()

    def read(self) -> bytes:
        if self._broken:
            raise self._broken
        try:
            return self._read()
        except FAILURES as error:
            raise self._lost(error) from None

    def _read(self) -> bytes:
        """What is there, in one look where the port has a file number; pyserial's own way where not."""
        if self._ready is None:
            first = self._port.read(1)
            return bytes(first + self._port.read(min(self._port.in_waiting, MOST))) if first else b""
        if not self._ready.poll(self._wait_s * 1000):
            return b""
        with contextlib.suppress(BlockingIOError):
            data = os.read(self._port.fileno(), MOST)
            if not data:
                raise OSError(errno.EIO, "it has hung up")
            return data
        return b""

    def write(self, data: bytes) -> None:
        try:
            with self._guard:
                sent_at, answered_at = self._settings.rates(data)
                self._set_baud(sent_at)
                self._port.write(data)
            if answered_at != sent_at:
                written_s = len(data) * self._settings.bits_a_byte / sent_at
                self._begin_answer(written_s, answered_at)
        except FAILURES as error:
            self._broken = self._lost(error)
            raise self._broken from None

    def _set_baud(self, baud: int) -> None:
        """Set the rate, where it is another; the guard is held."""
        self._drop_answer()
        if self._port.baudrate != baud:
            self._port.baudrate = baud

    def _drop_answer(self) -> None:
        """The rate of an answer that was waited for is set no more."""
        if self._answer is not None:
            self._answer.cancel()
            self._answer = None

    def _begin_answer(self, after_s: float, baud: int) -> None:
        """Once what was written is out, read at the answer's rate; whoever writes is not held up meanwhile."""

        def begin() -> None:
            try:
                with self._guard:
                    if self._answer is timer:
                        self._port.baudrate = baud
            except FAILURES as error:
                self._broken = self._lost(error)

        timer = self._answer = threading.Timer(after_s, begin)
        timer.daemon = True
        timer.start()

    def control_lines(self) -> Mapping[str, bool]:
        if not self._has_lines:
            return {}
        try:
            port = self._port
            return {"cts": port.cts, "dsr": port.dsr, "dcd": port.cd, "ri": port.ri}
        except (serial.SerialException, OSError, AttributeError):
            self._has_lines = False
            return {}

    def line_errors(self) -> Mapping[str, int]:
        counted = self._counted()
        grown = {kind: counted[kind] - self._before.get(kind, 0) for kind in counted}
        return {kind: count for kind, count in grown.items() if count > 0}

    def _counted(self) -> dict[str, int]:
        """The driver's counters since it was loaded; empty for a pseudo-terminal, a network port, another system."""
        counts = bytearray(COUNTS.size)
        try:
            fcntl.ioctl(self._port.fileno(), termios.TIOCGICOUNT, counts)
        except (*FAILURES, AttributeError, io.UnsupportedOperation):
            return {}
        told = COUNTS.unpack(counts)
        return {kind: told[place] for kind, place in COUNTED.items()}

    def close(self) -> None:
        with self._guard, contextlib.suppress(*FAILURES):
            self._drop_answer()
            self._port.close()

    def _lost(self, error: Exception) -> LinkLost:
        if self.url.startswith("/") and not os.path.exists(self.url):
            return LinkLost(f"{self.url} was unplugged", "plug it in again; listening goes on by itself")
        return LinkLost(f"{self.url} no longer answers: {error}", "unplugged, or open in another program?")


def _poll_of(port: serial.SerialBase) -> select.poll | None:
    """Waits for bytes on a port's file number, held for this program alone; None where a port has none.

    pyserial's lock keeps out those who ask for one; TIOCEXCL keeps out those who do not.
    """
    try:
        number = port.fileno()
    except (AttributeError, io.UnsupportedOperation):
        return None
    with contextlib.suppress(OSError):
        fcntl.ioctl(number, termios.TIOCEXCL)
    ready = select.poll()
    ready.register(number, select.POLLIN)
    return ready


def why_not(url: str, error: Exception) -> LinkLost:
    """Why a port can't be opened, and what to type next."""
    number = getattr(error, "errno", None)
    if isinstance(error, ValueError) and not isinstance(error, serial.SerialException):
        return LinkLost(f"{url} is no port: {error}", "list what is there with: meterlog ports", hopeless=True)
    if url.startswith("/"):
        if not os.path.exists(url):
            return LinkLost(f"{url} is not there", "plug it in, or see what is with: meterlog ports")
        if number in (errno.EACCES, errno.EPERM):
            return LinkLost(f"{url}: permission denied", permission_hint(url))
        if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in str(error):
            return LinkLost(f"{url} is open in another program", f"see which with: fuser -v {url}")
    return LinkLost(f"{url} can't be opened: {error}", "see what is plugged in with: meterlog ports")


def permission_hint(path: str) -> str:
    """What to type so that this user may open a device, by the device's real group and mode."""
    info = os.stat(path)
    if info.st_mode & stat.S_IRGRP and info.st_mode & stat.S_IWGRP and info.st_gid != 0:
        try:
            group = grp.getgrgid(info.st_gid).gr_name
        except KeyError:
            group = str(info.st_gid)
        return f"type: sudo usermod -aG {group} $USER   then log out and in again"
    return "its group may not use it either; install the rule that: meterlog service udev   prints"
