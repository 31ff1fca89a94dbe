"""Links: how an instrument's bytes arrive. One module a kind, all behind `Link`.

/dev/ttyUSB0, hwgrep://…, socket://host:port, rfc2217://host:port, loop://   serial.py (pyserial)
hid://1234:abcd                                                             hid.py (hidapi, extra)
recording:FILE?speed=20                                                     played.py
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.links.settings import LineSettings


class LinkLost(Exception):
    """A link can't be opened or has gone; `why` is one sentence, `hint` what to do.

    `hopeless` is set when trying again cannot help until a person acts.
    """

    def __init__(self, why: str, hint: str = "", *, hopeless: bool = False) -> None:
        super().__init__(why)
        self.why, self.hint, self.hopeless = why, hint, hopeless


class Link(Protocol):
    """An open connection to one instrument. `read` is called by one thread only."""

    def read(self) -> bytes:
        """What has arrived, after waiting a moment; empty when nothing did. Raises: LinkLost."""
        ...

    def write(self, data: bytes) -> None:
        """Send bytes to the instrument. Raises: LinkLost."""
        ...

    def control_lines(self) -> Mapping[str, bool]:
        """The state of cts, dsr, dcd and ri; empty where the link has none."""
        ...

    def line_errors(self) -> Mapping[str, int]:
        """What the port's driver counted since it was opened, by kind; empty where nothing is counted."""
        ...

    def close(self) -> None:
        """Let the connection go; never raises."""
        ...


def open_link(url: str, settings: LineSettings, wait_s: float = 0.2) -> Link:
    """Open the link that a URL or device path names; `read` will wait `wait_s` for a first byte.

    Raises: LinkLost.
    """
    if url.startswith("hid:"):
        from meterlog.links.hid import HidLink

        return HidLink(url)
    if url.startswith("recording:"):
        from meterlog.links.played import PlayedLink

        return PlayedLink(url)
    from meterlog.links.serial import SerialLink

    return SerialLink(url, settings, wait_s)
