"""USB HID instruments through hidapi (an extra): `hid://vendor:product`, `hid://vendor:product/serial`.

Each report's bytes are given as they come; what wraps them is the profile's business.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from meterlog.links import LinkLost

if TYPE_CHECKING:
    from collections.abc import Mapping

WAIT_MS = 200
REPORT = 64


class HidLink:
    """One open HID device. Raises: LinkLost."""

    def __init__(self, url: str) -> None:
        match = re.fullmatch(r"hid://([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4})(?:/(.+))?", url)
        if not match:
            raise LinkLost(
                f"{url} is no HID address", 'write "hid://1234:abcd", vendor and product in hex', hopeless=True
            )
        try:
            import hid
        except ImportError:
            raise LinkLost(
                "USB HID needs the package hidapi", "type: pip install 'meterlog[hid]'", hopeless=True
            ) from None
        if not hasattr(hid, "device"):
            raise LinkLost(
                "the package 'hid' stands where 'hidapi' should", "type: pip uninstall hid && pip install hidapi",
                hopeless=True,
            )  # fmt: skip
        self.url = url
        self._device: Any = hid.device()
        try:
            self._device.open(int(match[1], 16), int(match[2], 16), match[3])
        except OSError as error:
            raise LinkLost(
                f"{url} can't be opened: {error}", "plug it in; on Linux install: meterlog service udev"
            ) from None

    def read(self) -> bytes:
        try:
            return bytes(self._device.read(REPORT, WAIT_MS))
        except (OSError, ValueError) as error:
            raise LinkLost(f"{self.url} no longer answers: {error}", "plug it in again") from None

    def write(self, data: bytes) -> None:
        try:
            sent = self._device.write(data)
        except (OSError, ValueError) as error:
            raise LinkLost(f"{self.url} no longer answers: {error}", "plug it in again") from None
        if sent < 0:
            raise LinkLost(f"{self.url} takes no report", "plug it in again")

    def control_lines(self) -> Mapping[str, bool]:
        return {}

    def line_errors(self) -> Mapping[str, int]:
        return {}

    def close(self) -> None:
        self._device.close()
