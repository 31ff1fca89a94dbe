"""The bench loop: the one thread that owns the conversations, the job and the writer.

Everything comes through one queue in order. Commits happen at once for acts, and for free-running
readings when they have waited `COMMIT_WAIT_S`: only what is committed is ever acknowledged.
"""

from __future__ import annotations

import logging
import queue
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo, MeterlogError, WrongValue
from meterlog.daemon.events import BeatEvent, LinkEvent, ReadingEvent, StoreEvent
from meterlog.daemon.items import Damaged, LineChanged, Opened, PendingRequest, Received, StateChanged, Stop
from meterlog.daemon.link_states import LinkStanding, LinkState
from meterlog.daemon.notify import notify
from meterlog.daemon.status import StoreStatus
from meterlog.links import LinkLost
from meterlog.record.acts import LINK, ActKind
from meterlog.store.writer import StoreRefuses
from meterlog.walk.session import Send

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from meterlog.daemon.announce import Announcer
    from meterlog.daemon.clock import Clock
    from meterlog.daemon.control_messages import Reply
    from meterlog.daemon.desk import JobDesk
    from meterlog.daemon.items import Item
    from meterlog.daemon.station import Station
    from meterlog.store.writer import Writer
    from meterlog.walk.session import SessionEvent

log = logging.getLogger("meterlog")

COMMIT_WAIT_S = 1.0
"""Longest wait of a free-running reading for its commit: an eighth of the disk wear of four a second."""

RETRY_S = 1.0
ASIDE_S = 30.0
"""How long a link that nothing is understood of is left alone before it is tried again."""
BEAT_S = 1.0
ANNOUNCE_S = 0.1
IN_ONE_GO = 500
"""Items taken from the queue before the clocks are looked at again."""

BATCH_ROWS = 5_000
"""Rows that wait at most before they are committed: a flood comes in pieces, and is held back meanwhile."""


STILL_THERE = "the text of what was erased, in the write-ahead log while another program reads or the database refuses"


class BenchLoop:
    """Runs until a `Stop` comes."""

    def __init__(
        self, stations: Mapping[str, Station], writer: Writer, desk: JobDesk, announcer: Announcer, clock: Clock,
        items: queue.Queue[Item], requests: Callable[[BenchLoop, dict[str, Any]], Reply],
        try_again: Callable[[str], None] = lambda _: None,
    ) -> None:  # fmt: skip
        self.stations = stations
        self.writer = writer
        self.desk = desk
        self.announcer = announcer
        self.clock = clock
        self._items = items
        self._requests = requests
        self.try_again = try_again
        self._commit_due: float | None = None
        self._refused: str = ""
        self._not_kept_before = 0, 0
        self._beat_due = clock.monotonic()
        self._stopping = False
        self._is_erasing = False
        self._taken_until = clock.monotonic()

    def run(self) -> None:
        """Take items until told to stop, then commit what waits and close the database."""
        notify("READY=1")
        try:
            while not self._stopping:
                self._turn()
        finally:  # also after a mistake of ours: what waits is kept
            notify("STOPPING=1")
            self.announcer.close()
            self.writer.close(self.clock.now())

    def _turn(self) -> None:
        """Take what came, and do what is due."""
        taken_until = round(self._take_what_came(), 3)
        self._deal(self.desk.tick(taken_until), taken_until)
        now = self.clock.monotonic()
        self._look_at_links(now)
        self._commit_when_due(now)
        self.desk.tell(is_kept=not self.writer.has_acts)
        self._announce_readings(now)
        if now >= self._beat_due:
            self._beat(now)

    # ---- what comes ----

    def _take_what_came(self) -> float:
        """Answers the moment, s, up to which all that came is taken: no silence is found in what still waits here."""
        timeout = self._until_next()
        for _ in range(IN_ONE_GO):
            before = self.clock.monotonic()
            try:
                self._take(self._items.get(timeout=timeout) if timeout else self._items.get_nowait())
            except queue.Empty:
                return before + timeout
            timeout = 0.0
            if self.writer.pending >= BATCH_ROWS:
                break
        return self._taken_until

    def _until_next(self) -> float:
        now = self.clock.monotonic()
        dues = [self._beat_due, self._commit_due, self.desk.wake_at]
        dues += [s.announced_at + ANNOUNCE_S for s in self.stations.values() if s.fresh]
        return self.clock.real_s(max(0.0, min(due for due in dues if due is not None) - now))

    def _take(self, item: Item) -> None:
        match item:
            case Received():
                source = self.desk.instruments.answering(item.source)
                self._hear(self.stations[source], item.data, round(item.at, 3))
            case PendingRequest():
                self._commit_when_due(self.clock.monotonic())  # an answer shows nothing that is not kept
                item.reply.put(self._answer(item.message))
            case LineChanged():
                self._deal(self.desk.line(item.source, item.word, item.at), item.at)
            case Damaged():
                self._damaged(item)
            case Opened():
                self._open(item)
            case StateChanged():
                self._change(item)
            case Stop():
                self._stopping = True

    def _hear(self, station: Station, data: bytes, at: float) -> None:
        station.heard_at = self._taken_until = at
        if station.set_aside_at is None:
            self._deal(self.desk.received(station.source, data, at), at)
        else:
            station.bytes_not_kept += len(data)

    def _answer(self, message: dict[str, Any]) -> dict[str, Any]:
        try:
            return {"ok": True, **asdict(self._requests(self, message))}
        except MeterlogError as error:
            words, _, hint = str(error).partition("\n")
            said = {"error": words, "hint": getattr(error, "hint", "") or hint.strip()}
            return {"ok": False, **said, **({"wrong": True} if isinstance(error, WrongValue) else {})}
        except Exception:  # our mistake in one request must not end a daemon that listens for months: told, and logged
            log.exception("request", extra={"facts": {"do": message.get("do")}})
            return {"ok": False, "error": "a mistake in meterlog: nothing was done", "hint": "see the daemon's log"}

    def _open(self, item: Opened) -> None:
        station = self.stations[item.source]
        station.opened(item.link, item.url, round(item.at, 3), item.line)
        self.desk.instruments.opened(item.source, station.profile.conversation(), station.opened_at, item.line)
        self._begin_link(station)

    def _begin_link(self, station: Station) -> None:
        """A link's row in the record, with the UTC of its opening by today's clock."""
        opened = self.clock.at(station.opened_at)
        station.opened_utc_ms = opened.utc_ms
        station.link_id = self.writer.open_link(
            station.source, station.profile.text, station.facts, station.url, opened
        )
        station.last_link_id = station.link_id

    def _change(self, item: StateChanged) -> None:
        station = self.stations[item.source]
        if item.state in (LinkState.WAITING, LinkState.GIVEN_UP):
            if station.link_id is not None:
                self._end(station)
                self.desk.lost(item.source)
            station.link = station.set_aside_at = None
        self._tell_state(station, LinkStanding(item.state, item.why, item.hint))

    def _tell_state(self, station: Station, now: LinkStanding) -> None:
        """The one place where a station's state changes: kept, recorded and told."""
        station.state, station.why, station.hint = now
        facts = {"link": station.source, "state": str(now.state), "why": now.why}
        log.info("link", extra={"facts": facts})
        self.writer.event(LINK.format(state=now.state), self.clock.now(), facts, link=station.link_id, whence="daemon")
        self.announcer.tell(LinkEvent(link=station.source, state=now.state, why=now.why, hint=now.hint))

    def _set_aside(self, station: Station, now: float) -> None:
        """Keep no more of a link that nothing is understood of: its bytes are counted, and it is tried again."""
        link = station.link
        if not station.times_aside:
            self._tell_aside(station)
        self._end(station)
        station.link, station.set_aside_at = link, now
        station.times_aside += 1

    def _take_up(self, station: Station, now: float) -> None:
        """Listen again to a link that was set aside, as to one that was opened now."""
        if station.link is None:
            return  # it takes no bytes any more: its task opens it again
        if station.times_aside.bit_count() == 1:  # told each time that it has doubled
            self._tell_aside(station)
        self._open(Opened(station.source, station.link, station.url, now, station.line))

    def _tell_aside(self, station: Station) -> None:
        facts = {"link": station.source, "why": station.reason, "bytes_not_kept": station.bytes_not_kept}
        log.warning("set aside", extra={"facts": facts})
        self.writer.event(ActKind.SET_ASIDE, self.clock.now(), facts, link=station.last_link_id, whence="daemon")

    def _look_at_links(self, now: float) -> None:
        """What is shown as live is live: states and readings go when what they rest on goes."""
        for station in self.stations.values():
            if station.is_rubbish and station.link_id is not None:
                self._set_aside(station, now)
            elif station.set_aside_at is not None and now - station.set_aside_at > ASIDE_S:
                self._take_up(station, now)
            station.grow_old(now)
            changed = station.stands(now)
            if changed is not None:
                self._tell_state(station, changed)

    def _damaged(self, item: Damaged) -> None:
        """Bytes that came damaged or not at all, as the port's driver counts them."""
        station = self.stations[item.source]
        station.line_errors = dict(item.errors)
        facts = {"link": item.source, **item.errors}
        log.warning("line errors", extra={"facts": facts})
        self.writer.event(ActKind.LINE_ERRORS, self.clock.now(), facts, link=station.link_id, whence="daemon")

    def _end(self, station: Station) -> None:
        """A link is gone: what was left of its bytes is told, and no capture goes on across the gap."""
        assert station.link_id is not None
        self._deal(self.desk.closed(station.source), station.opened_at)
        self.writer.close_link(station.link_id)
        station.link = station.link_id = None

    # ---- what comes of it ----

    def _deal(self, events: Iterable[SessionEvent], at: float) -> None:
        """Take what the bench's instruments and the job say, one thing before the next."""
        for event in events:
            if isinstance(event, Send):
                self._send(self.stations[event.source], event.data, at)
            else:
                self.desk.take(event)

    def _send(self, station: Station, data: bytes, at: float) -> None:
        if station.link is None or station.link_id is None:
            return
        try:
            station.link.write(data)
        except LinkLost as lost:
            log.warning("link", extra={"facts": {"link": station.source, "why": lost.why}})
            station.link = None  # its task closes it and opens it again
            return
        self._deal(self.desk.sent(station.source, data, at), at)
        since_opened = round(at - station.opened_at, 3)
        self.writer.sent(station.link_id, data, since_opened, self.desk.job_id, self.desk.step_id)

    # ---- the record ----

    def _commit_when_due(self, now: float) -> None:
        """Commit acts and full batches at once, free-running readings when they have waited."""
        if self._commit_due is None and self.writer.pending:
            self._commit_due = now + COMMIT_WAIT_S
        is_due = self._commit_due is not None and now >= self._commit_due
        is_urgent = self.writer.has_acts or self.writer.pending >= BATCH_ROWS
        if is_due or (is_urgent and not self._refused):
            self._try_to_commit()

    def commit(self) -> None:
        """Commit what waits, for whoever asked. Raises: CannotDo, when it is done but not yet kept."""
        if not self._try_to_commit():
            raise CannotDo(
                f"done, but not kept yet: {self._refused}", "it is kept as soon as that has passed; do not repeat it"
            )

    def _try_to_commit(self) -> bool:
        """A refusal is told once and tried again; what it cost is told when it is over."""
        try:
            self.writer.commit(self.clock.now())
        except StoreRefuses as refused:
            self._commit_due = self.clock.monotonic() + RETRY_S
            if not self._refused:
                self._refused = str(refused)
                self._not_kept_before = self.writer.not_kept, self.writer.bytes_not_kept
                log.error("store", extra={"facts": {"state": "refusing", "why": self._refused}})
                self.announcer.tell(StoreEvent(state="refusing", why=self._refused))
            return False
        self._commit_due = None
        if self._refused:
            readings, size = self._not_kept_before
            facts = {
                "why": self._refused,
                "not_kept": self.writer.not_kept - readings,
                "bytes_not_kept": self.writer.bytes_not_kept - size,
            }
            self._refused = ""
            log.info("store", extra={"facts": {"state": "kept", **facts}})
            self.writer.event(ActKind.STORE_REFUSED, self.clock.now(), facts, whence="daemon")
            self.announcer.tell(StoreEvent(state="kept", why=""))
        return True

    def finish_erasing(self) -> None:
        """Fold the log into the file, so that what was erased stands in neither; again each beat until that is done."""
        self._is_erasing = self.writer.has_acts or not self.writer.checkpoint()

    @property
    def store_status(self) -> StoreStatus:
        return StoreStatus(
            state="refusing" if self._refused else "kept",
            why=self._refused,
            committed=self.writer.committed_readings,
            pending=self.writer.pending,
            not_kept=self.writer.not_kept,
            still_there=STILL_THERE if self._is_erasing else "",
        )

    # ---- telling ----

    def _announce_readings(self, now: float) -> None:
        for station in self.stations.values():
            if station.fresh and now - station.announced_at >= ANNOUNCE_S:
                station.fresh, station.announced_at = False, now
                if self.announcer.is_watched:
                    readings, utc_ms = station.readings(), station.last_utc_ms
                    self.announcer.tell(ReadingEvent(link=station.source, readings=readings, utc_ms=utc_ms))

    def _beat(self, now: float) -> None:
        self._beat_due = now + BEAT_S
        notify("WATCHDOG=1")
        if self._is_erasing:
            self.finish_erasing()
            if not self._is_erasing:
                log.info("store", extra={"facts": {"erased": "what was erased stands in no file of the database"}})
        if not self.writer.is_in_place and not self._refused:
            self._try_to_commit()  # refuses, and says so
        stepped = self.clock.step_ms()
        if stepped:
            self._clock_stepped(stepped)
        self.announcer.tell(BeatEvent(utc_ms=self.clock.utc_ms()))

    def _clock_stepped(self, by_ms: int) -> None:
        """Record that UTC was set; open links go on under a new row, so that what follows has the right UTC."""
        log.warning("clock", extra={"facts": {"stepped_ms": by_ms}})
        self.writer.event(ActKind.CLOCK_STEPPED, self.clock.now(), {"by_ms": by_ms}, whence="daemon")
        for station in self.stations.values():
            if station.link_id is not None:
                self.writer.close_link(station.link_id)
                self._begin_link(station)
