"""Listening to a port for a while: what `meterlog record` keeps and `meterlog profile try` looks at."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event
from meterlog.links import Link, LinkLost, open_link
from meterlog.links.settings import LineSettings, settings_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.conversation.talk import Talk
    from meterlog.profile import Profile


def opened(url: str, settings: LineSettings) -> Link:
    """An open link. Raises: CannotDo."""
    try:
        return open_link(url, settings, wait_s=0.05)
    except LinkLost as lost:
        raise CannotDo(lost.why, lost.hint or "list what is there with: meterlog ports") from None


def events(link: Link, talk: Talk | None, seconds: float | None) -> Iterator[Event]:
    """What arrives, and what is asked when there is a conversation, until the time is over or the link is lost."""
    began = time.monotonic()
    while (at := time.monotonic() - began) < (seconds if seconds is not None else float("inf")):
        try:
            if talk is not None and talk.wake_at is not None and talk.wake_at <= at:
                for data in talk.poll(at)[0]:
                    link.write(data)
                    talk.sent(data, at)
                    yield Event(at, "out", data)
            data = link.read()
        except LinkLost as lost:
            raise CannotDo(lost.why, lost.hint) from None
        if data:
            at = time.monotonic() - began
            if talk is not None:
                talk.feed(data, at)
            yield Event(at, "in", data)


def heard(url: str, profiles: list[Profile], seconds: float) -> list[tuple[Profile, list[Event]]]:
    """Each profile with what arrived while the line was set as it says; every setting is listened to once."""
    taken: dict[LineSettings, list[Event]] = {}
    for profile in profiles:
        settings = settings_of(profile)
        if settings not in taken:
            link = opened(url, settings)
            try:
                taken[settings] = list(events(link, None, seconds))
            finally:
                link.close()
    return [(profile, taken[settings_of(profile)]) for profile in profiles]
