"""One instrument's place on the bench: its link now, its last readings."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import inf
from typing import TYPE_CHECKING

from meterlog.base.readings import Frame, Rejected
from meterlog.daemon.link_states import LinkStanding, LinkState, MessagePace, link_standing
from meterlog.daemon.status import DisplayedReading, LinkStatus, displayed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import Reading, StreamOutcome
    from meterlog.links import Link
    from meterlog.profile import Profile


UNREAD_KEPT, UNREAD_AGAIN = 1_000_000, 4_000
"""Bytes kept in a row without one message that is understood; and kept each time that such a link is tried again."""

OPEN = (LinkState.LISTENING, LinkState.SILENT, LinkState.NOT_UNDERSTOOD)
"""The states of a link that is open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastShown:
    """What a display showed last, when (s on the monotonic clock, and UTC), and whether that is long ago."""

    reading: Reading
    at: float
    utc_ms: int
    is_stale: bool = False


@dataclass(slots=True)
class Station:
    """What the bench loop keeps of one instrument.

    `line` is what it shares with other instruments, "" for nothing; `link_id` is the store's, None while the link is
    down; `last_link_id` stays, since a capture may still be taken from what came before; `opened_at` is the zero of the
    link's clock, s on the machine's monotonic clock; `opened_utc_ms` is the same moment in UTC.
    """

    source: str
    profile: Profile
    facts: str
    link: Link | None = None
    link_id: int | None = None
    last_link_id: int | None = None
    opened_at: float = 0.0
    opened_utc_ms: int = 0
    url: str = ""
    line: str = ""
    state: LinkState = LinkState.OPENING
    why: str = ""
    hint: str = ""
    count: int = 0
    rejected: int = 0
    skipped: int = 0
    line_errors: dict[str, int] = field(default_factory=dict)
    pace: MessagePace = field(default_factory=MessagePace)
    heard_at: float = 0.0
    understood_at: float = 0.0
    reason: str = ""
    unread: int = 0
    set_aside_at: float | None = None
    times_aside: int = 0
    bytes_not_kept: int = 0
    last: dict[str, LastShown] = field(default_factory=dict)
    last_utc_ms: int = 0
    fresh: bool = False
    announced_at: float = 0.0

    def opened(self, link: Link, url: str, at: float, line: str) -> None:
        """Its link is open, s on the machine's monotonic clock; what it showed before is no longer live."""
        self.link, self.url, self.opened_at, self.line = link, url, at, line
        self.heard_at = self.understood_at = at
        self.unread, self.set_aside_at = 0, None
        self.pace, self.reason, self.last = (
            MessagePace(),
            "",
            {name: replace(each, at=-inf) for name, each in self.last.items()},
        )

    def heard(self, outcomes: Sequence[StreamOutcome], at: float, utc_ms: int, *, is_kept: bool) -> None:
        """Show the last readings; count what is kept, and what gave no reading; `at` on the monotonic clock."""
        latest: dict[str, Reading] = {}
        for outcome in outcomes:
            if isinstance(outcome, Frame):
                self._understood(at)
                self.unread = self.times_aside = 0
                for reading in outcome.readings:
                    latest[reading.form.channel] = reading
                self.count += len(outcome.readings) if is_kept else 0
            elif isinstance(outcome, Rejected):
                self.rejected, self.reason = self.rejected + 1, outcome.reason
                self.unread += len(outcome.raw)
            else:
                self.skipped += len(outcome.raw)
                self.unread += len(outcome.raw)
        if latest:
            self.last |= {channel: LastShown(reading=each, at=at, utc_ms=utc_ms) for channel, each in latest.items()}
            self.last_utc_ms, self.fresh = utc_ms, True

    def _understood(self, at: float) -> None:
        if at > self.understood_at:
            self.pace.heard_after(at - self.understood_at)
            self.understood_at = at

    @property
    def is_rubbish(self) -> bool:
        """Whether enough was kept of bytes that nothing was understood of; after a first time, little is."""
        return self.unread > (UNREAD_AGAIN if self.times_aside else UNREAD_KEPT)

    def stands(self, now: float) -> LinkStanding | None:
        """How its open link stands, where that differs from what was told; the reason alone makes no difference."""
        if self.link_id is None or self.state not in OPEN:
            return None
        found = link_standing(
            self.pace, understood_s=now - self.understood_at, heard_s=now - self.heard_at, reason=self.reason
        )
        return found if found.state is not self.state else None

    def grow_old(self, now: float) -> None:
        """Mark readings that are no longer what the display shows, so that they are told again."""
        for channel, shown in self.last.items():
            if not shown.is_stale and (self.link_id is None or now - shown.at > self.pace.stale_after_s):
                self.last[channel], self.fresh = replace(shown, is_stale=True), True

    def readings(self) -> tuple[DisplayedReading, ...]:
        """The last reading of each channel, for status and announcements."""
        return tuple(displayed(each.reading, each.utc_ms, is_stale=each.is_stale) for each in self.last.values())

    def status(self) -> LinkStatus:
        """How it stands."""
        return LinkStatus(
            link=self.source,
            profile=self.profile.key,
            state=self.state,
            why=self.why,
            hint=self.hint,
            url=self.url,
            readings=self.readings(),
            utc_ms=self.last_utc_ms,
            count=self.count,
            rejected=self.rejected,
            skipped_bytes=self.skipped,
            bytes_not_kept=self.bytes_not_kept,
            line_errors=dict(self.line_errors),
        )
