"""What is plugged in: serial ports with their stable names, who they are, whether they can be opened."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

from meterlog.links.serial import permission_hint

BY_ID = Path("/dev/serial/by-id")
BY_PATH = Path("/dev/serial/by-path")


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """A serial port: `stable` is the name to write into a bench file, `hint` set when it can't be opened."""

    device: str
    stable: str
    description: str
    usb_serial: str
    hint: str


def ports() -> list[Port]:
    """All serial ports, with the name that survives replugging where the system has one."""
    stable = _stable_names()
    found = []
    for port in sorted(list_ports.comports()):
        usable = os.access(port.device, os.R_OK | os.W_OK)
        found.append(
            Port(
                device=port.device,
                stable=stable.get(os.path.realpath(port.device), port.device),
                description=port.description if port.description != "n/a" else "",
                usb_serial=port.serial_number or "",
                hint="" if usable else permission_hint(port.device),
            )
        )
    return found


def device_of(usb_serial: str) -> str | None:
    """The device whose USB adapter has this serial number, or None when it is not plugged in."""
    for port in list_ports.comports():
        if port.serial_number == usb_serial:
            return str(port.device)
    return None


def _stable_names() -> dict[str, str]:
    """Stable name by real device: by-id first; two adapters of one id fall back to by-path."""
    names: dict[str, str] = {}
    for folder in (BY_PATH, BY_ID):
        if folder.is_dir():
            names.update({os.path.realpath(link): str(link) for link in folder.iterdir()})
    return names
