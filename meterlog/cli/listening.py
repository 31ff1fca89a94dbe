"""Listening to a port for a while: what `meterlog record` keeps and `meterlog profile try` looks at."""

from __future__ import annotations

import time
from collections import deque
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event
from meterlog.conversation.drive import drive
from meterlog.links import Link, LinkLost, open_link
from meterlog.links.settings import LineSettings, settings_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from meterlog.base.readings import StreamOutcome
    from meterlog.conversation.conversation import Conversation
    from meterlog.profile import Profile


def opened(url: str, settings: LineSettings) -> Link:
    """An open link. Raises: CannotDo."""
    try:
        return open_link(url, settings, wait_s=0.05)
    except LinkLost as lost:
        raise CannotDo(lost.why, lost.hint or "list what is there with: meterlog ports") from None


def listen_to(
    link: Link, conversation: Conversation | None, seconds: float | None, keep: Callable[[Event], None]
) -> Iterator[StreamOutcome]:
    """What comes of what arrives until the time is over; `keep` is told of all that came and was sent.

    Without a conversation nothing is asked, and nothing comes of it. Raises: CannotDo when the link is lost.
    """
    began = time.monotonic()

    def arrived() -> Iterator[Event]:
        while (at := time.monotonic() - began) < (seconds if seconds is not None else float("inf")):
            event = Event(round(time.monotonic() - began, 3), "in", data) if (data := link.read()) else Event(at, "in")
            if event.data:
                keep(event)
            yield event

    def write(data: bytes) -> None:
        link.write(data)
        keep(Event(round(time.monotonic() - began, 3), "out", data))

    try:
        if conversation is not None:
            yield from drive(conversation, arrived(), write)
        else:
            for _ in arrived():
                pass
    except LinkLost as lost:
        raise CannotDo(lost.why, lost.hint) from None


def heard(url: str, profiles: list[Profile], seconds: float) -> list[tuple[Profile, list[Event]]]:
    """Each profile with what arrived while the line was set as it says; every setting is listened to once."""
    taken: dict[LineSettings, list[Event]] = {}
    for profile in profiles:
        settings = settings_of(profile)
        if settings not in taken:
            link = opened(url, settings)
            try:
                came: list[Event] = []
                deque(listen_to(link, None, seconds, came.append), maxlen=0)
                taken[settings] = came
            finally:
                link.close()
    return [(profile, taken[settings_of(profile)]) for profile in profiles]
