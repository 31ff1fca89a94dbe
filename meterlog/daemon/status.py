"""What the daemon shows over its control socket: the status of its links, job, walk and store; see PROTOCOL.md."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meterlog.base.readings import Reading, is_frozen
from meterlog.daemon.link_states import LinkState  # noqa: TC001  (read at run time: `base.plain`)
from meterlog.walk import Snapshot  # noqa: TC001


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayedReading:
    """The last reading of a channel: digits as shown, SI value; `is_stale`: no longer what the display shows."""

    channel: str
    quantity: str
    mode: str
    shown: str
    value: float | None
    unit: str
    bound: str | None
    edge: float | None
    flags: tuple[str, ...]
    is_frozen: bool = False
    utc_ms: int = 0
    is_stale: bool = False


def displayed(reading: Reading, utc_ms: int, *, is_stale: bool) -> DisplayedReading:
    """A reading as it is told."""
    form = reading.form
    return DisplayedReading(
        channel=form.channel,
        quantity=form.quantity,
        mode=form.mode,
        shown=reading.digits,
        value=reading.value,
        unit=form.unit,
        bound=str(form.bound) if form.bound else None,
        edge=reading.edge,
        flags=form.flags,
        is_frozen=is_frozen(form.flags),
        utc_ms=utc_ms,
        is_stale=is_stale,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkStatus:
    """An instrument's link: its state with why and what to do, what was counted, the last reading of each channel."""

    link: str
    profile: str
    state: LinkState
    why: str
    hint: str
    url: str
    readings: tuple[DisplayedReading, ...]
    utc_ms: int
    count: int
    rejected: int
    skipped_bytes: int
    bytes_not_kept: int
    line_errors: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobStatus:
    """The job at hand; `id` is the record's."""

    id: int
    ref: str
    procedure: str
    appliance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreStatus:
    """Whether the record is "kept" or the database "refusing", and why; readings committed, waiting and not kept.

    `still_there`: where erased text still stands until the erasing is finished, "" otherwise.
    """

    state: str
    why: str
    committed: int
    pending: int
    not_kept: int
    still_there: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """The whole bench; `job` and `walk` are None while no job is at hand."""

    bench: str
    version: str
    utc_ms: int
    links: tuple[LinkStatus, ...]
    job: JobStatus | None
    walk: Snapshot | None
    store: StoreStatus
