"""One instrument's place on the bench: its link now, its last readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Frame, Rejected
from meterlog.daemon.states import LinkState

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.readings import Form, Outcome, Reading
    from meterlog.links import Link
    from meterlog.profile import Profile


@dataclass(slots=True)
class Station:
    """What the bench loop keeps of one instrument.

    `link_id` is the store's, None while the link is down; `last_link_id` stays, since a capture may
    still be taken from what came before; `opened_at` is the zero of the link's
    clock, s on the machine's monotonic clock; `opened_utc_ms` is the same moment in UTC.
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
    state: LinkState = LinkState.OPENING
    why: str = ""
    hint: str = ""
    count: int = 0
    rejected: int = 0
    skipped: int = 0
    line_errors: dict[str, int] = field(default_factory=dict)
    last: dict[str, Reading] = field(default_factory=dict)
    last_utc_ms: int = 0
    fresh: bool = False
    announced_at: float = 0.0

    def heard(self, outcomes: Sequence[Outcome], utc_ms: int, *, is_kept: bool) -> None:
        """Show the last readings; count what is kept, and what gave no reading."""
        for outcome in outcomes:
            if isinstance(outcome, Frame):
                for reading in outcome.readings:
                    self.last[reading.form.channel] = reading
                if outcome.readings:
                    self.last_utc_ms, self.fresh = utc_ms, True
                    self.count += len(outcome.readings) if is_kept else 0
            elif isinstance(outcome, Rejected):
                self.rejected += 1
            else:
                self.skipped += len(outcome.raw)

    def as_dict(self) -> dict[str, Any]:
        """The station for a status."""
        return {
            "link": self.source,
            "profile": self.profile.key,
            "state": str(self.state),
            "why": self.why,
            "hint": self.hint,
            "url": self.url,
            "readings": [reading_dict(reading) for reading in self.last.values()],
            "utc_ms": self.last_utc_ms,
            "count": self.count,
            "rejected": self.rejected,
            "skipped_bytes": self.skipped,
            "line_errors": self.line_errors,
        }


def reading_dict(reading: Reading) -> dict[str, Any]:
    """A reading for an announcement: what was shown, and its SI value."""
    form: Form = reading.form
    return {
        "channel": form.channel,
        "quantity": form.quantity,
        "mode": form.mode,
        "shown": reading.digits,
        "value": reading.value,
        "unit": form.unit,
        "bound": str(form.bound) if form.bound else None,
        "edge": reading.edge,
        "flags": list(form.flags),
    }
