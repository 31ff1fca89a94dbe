"""Serial ports and network serial ports, through pyserial's `serial_for_url`."""

from __future__ import annotations

import contextlib
import errno
import grp
import os
import stat
from typing import TYPE_CHECKING

import serial

from meterlog.links import LinkLost

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.links.settings import LineSettings

MOST = 65_536
"""Most bytes taken in one `read`, so that a flood is met in pieces."""


class SerialLink:
    """One open port, held exclusively. Raises: LinkLost from its constructor and methods."""

    def __init__(self, url: str, settings: LineSettings, wait_s: float) -> None:
        self.url = url
        self._has_lines = True
        try:
            port = serial.serial_for_url(url, do_not_open=True)
            port.baudrate = settings.baud
            port.bytesize = settings.data_bits
            port.parity = settings.parity
            port.stopbits = settings.stop_bits
            port.timeout = wait_s
            port.write_timeout = 1.0
            if "://" not in url or url.startswith("hwgrep://"):
                port.exclusive = True
            for level, name in ((settings.dtr, "dtr"), (settings.rts, "rts")):
                if level is not None:
                    with contextlib.suppress(OSError):
                        setattr(port, name, level)
            port.open()
        except (serial.SerialException, OSError, ValueError) as error:
            raise why_not(url, error) from None
        self._port = port

    def read(self) -> bytes:
        try:
            first = self._port.read(1)
            waiting = min(self._port.in_waiting, MOST) if first else 0
            return bytes(first + self._port.read(waiting)) if waiting else bytes(first)
        except (serial.SerialException, OSError, TypeError) as error:
            raise self._lost(error) from None

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except (serial.SerialException, OSError, TypeError) as error:
            raise self._lost(error) from None

    def control_lines(self) -> Mapping[str, bool]:
        if not self._has_lines:
            return {}
        try:
            port = self._port
            return {"cts": port.cts, "dsr": port.dsr, "dcd": port.cd, "ri": port.ri}
        except (serial.SerialException, OSError, AttributeError):
            self._has_lines = False
            return {}

    def close(self) -> None:
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()

    def _lost(self, error: Exception) -> LinkLost:
        if self.url.startswith("/") and not os.path.exists(self.url):
            return LinkLost(f"{self.url} was unplugged", "plug it in again; listening goes on by itself")
        return LinkLost(f"{self.url} no longer answers: {error}", "unplugged, or open in another program?")


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
