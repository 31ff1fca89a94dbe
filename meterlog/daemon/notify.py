"""Telling the service manager how we are (the sd_notify protocol): ready, stopping, still alive."""

from __future__ import annotations

import contextlib
import os
import socket


def notify(state: str) -> None:
    """Send a state such as "READY=1" to the socket that NOTIFY_SOCKET names; nothing where there is none."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out, contextlib.suppress(OSError):
        out.sendto(state.encode(), address)
