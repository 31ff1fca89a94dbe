"""What is announced to whoever watches: one record a kind of event, as PROTOCOL.md lists them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.daemon.link_states import LinkState
    from meterlog.daemon.status import DisplayedReading
    from meterlog.walk import Snapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingEvent:
    """The last reading of each channel of a link."""

    link: str
    readings: tuple[DisplayedReading, ...]
    utc_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkEvent:
    """A link stands differently."""

    link: str
    state: LinkState
    why: str
    hint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkEvent:
    """The walk stands differently."""

    walk: Snapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureEvent:
    """A capture is kept."""

    job: str
    step: str
    capture: int
    shown: str
    unit: str
    bound: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictEvent:
    """A verdict is kept."""

    job: str
    step: str
    verdict: int
    outcome: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HappeningEvent:
    """Everything else that a walk tells, by its kind of act."""

    say: str
    step: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobEvent:
    """A job came to hand; None: it was put away."""

    job: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreEvent:
    """The database refuses, or keeps again."""

    state: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatEvent:
    """The daemon lives."""

    utc_ms: int


Announcement = (
    ReadingEvent
    | LinkEvent
    | WalkEvent
    | CaptureEvent
    | VerdictEvent
    | HappeningEvent
    | JobEvent
    | StoreEvent
    | BeatEvent
)

EVENTS: dict[type[Announcement], str] = {
    ReadingEvent: "reading",
    LinkEvent: "link",
    WalkEvent: "walk",
    CaptureEvent: "capture",
    VerdictEvent: "verdict",
    HappeningEvent: "said",
    JobEvent: "job",
    StoreEvent: "store",
    BeatEvent: "beat",
}
"""The word of each."""


def as_line(announcement: Announcement) -> dict[str, Any]:
    """An announcement as it goes over the socket."""
    return {"event": EVENTS[type(announcement)], **asdict(announcement)}
