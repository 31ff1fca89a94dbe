"""What the bench loop's queue carries. Times are seconds on the machine's monotonic clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import queue
    from collections.abc import Mapping

    from meterlog.daemon.link_states import LinkState
    from meterlog.links import Link


@dataclass(frozen=True, slots=True)
class Opened:
    """A link is open; the loop may write to it. `line`: what it shares with other instruments, "" for nothing."""

    source: str
    link: Link
    url: str
    at: float
    line: str = ""


@dataclass(frozen=True, slots=True)
class Received:
    """Bytes have arrived."""

    source: str
    data: bytes
    at: float


@dataclass(frozen=True, slots=True)
class LineChanged:
    """A control line has changed: "cts on"."""

    source: str
    word: str
    at: float


@dataclass(frozen=True, slots=True)
class Damaged:
    """The port's driver has counted damage since it was opened: kinds and how often."""

    source: str
    errors: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class StateChanged:
    """A link stands differently; `why` and `hint` tell of what a person should know."""

    source: str
    state: LinkState
    why: str
    hint: str
    at: float


@dataclass(frozen=True, slots=True)
class PendingRequest:
    """What someone asks over the control socket; the answer goes into `reply`."""

    message: dict[str, Any]
    reply: queue.Queue[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Stop:
    """End the loop."""


Item = Opened | Received | LineChanged | Damaged | StateChanged | PendingRequest | Stop
