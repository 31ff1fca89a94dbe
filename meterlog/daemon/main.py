"""Putting the daemon together from a bench file, and running it until a signal comes."""

from __future__ import annotations

import contextlib
import queue
import signal
import threading
import time
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo, WrongText
from meterlog.base.source import Problems, text_sha256
from meterlog.daemon.announce import Announcer
from meterlog.daemon.clock import Clock, Moment, PlayedClock
from meterlog.daemon.control import ControlServer
from meterlog.daemon.desk import JobDesk
from meterlog.daemon.items import Stop
from meterlog.daemon.logs import set_up
from meterlog.daemon.loop import BenchLoop
from meterlog.daemon.pedal_watch import pedals_watched
from meterlog.daemon.requests import answer_request
from meterlog.daemon.station import Station
from meterlog.daemon.supervise import SupervisedLink
from meterlog.files import places
from meterlog.files.shipped import find, text_of
from meterlog.links.benchfile import read_bench
from meterlog.links.settings import settings_of
from meterlog.profile import at_address, compile_profile, read_kept_profile
from meterlog.record.keptjob import job_at_hand
from meterlog.sounds import Sounds, of_this_machine
from meterlog.store.reader import reading
from meterlog.store.writer import Writer

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from pathlib import Path

    from meterlog.daemon.items import Item
    from meterlog.links.benchfile import BenchFile, BenchInstrument

QUEUE_ITEMS = 64
"""Items that wait for the bench loop; beyond it the link threads stop reading."""

LINKS_END_WITHIN_S = 2.0


def run_daemon(bench_path: Path, db: Path, *, log_form: str, sounds: bool | None, moment: Path | None = None) -> None:
    """Listen until SIGINT or SIGTERM.

    `sounds`: None for tones and speech as the bench file says. `moment`: the file of a played recording's clock.

    Raises: WrongText (bench or profile), BenchBusy, CannotDo; nothing is started then.
    """
    bench = bench_of(bench_path)
    stations = stations_of(bench, bench_path, profiles_kept(db))
    log = set_up(log_form)
    clock = PlayedClock(Moment(moment)) if moment else Clock()
    writer = Writer(db, clock.now(), {"socket": str(places.control_socket(db))})
    writer.checkpoint()  # what was erased before a crash is still in the log
    items: queue.Queue[Item] = queue.Queue(QUEUE_ITEMS)
    announcer = Announcer()
    voice = voice_of(bench, sounds)
    desk = JobDesk(stations, writer, announcer, clock, bench, voice)
    links = links_of(bench, stations, items, clock)
    loop = BenchLoop(
        stations, writer, desk, announcer, clock, items, answer_request, lambda name: links[name].try_again()
    )
    with (
        reading(db) as kept,
        _signals(items, links),
        _control(db, items, announcer),
        _running(links),
        pedals_watched(bench, items, clock),
    ):
        log.info("listening", extra={"facts": {"bench": bench.bench, "db": db, "links": len(stations)}})
        if (job := job_at_hand(kept)) is not None:
            desk.resume(job)
        loop.run()
    voice.close()
    log.info("ended", extra={"facts": {"committed": writer.committed_readings}})


def voice_of(bench: BenchFile, sounds: bool | None) -> Sounds:
    """The sounds that the command line and the bench file want, as far as this machine has programs for them."""
    if sounds is not None:
        return of_this_machine(speech=sounds, tones=sounds)
    return of_this_machine(speech=bench.speech is not False, tones=bench.tones is not False)


def bench_of(path: Path) -> BenchFile:
    """The bench file at a path. Raises: WrongText, CannotDo."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise CannotDo(
            f"the bench file {path} can't be read: {error.strerror}", "make one with: meterlog bench new > bench.yaml"
        ) from None
    except UnicodeDecodeError as error:
        raise CannotDo(
            f"the bench file {path} is no UTF-8 text: byte {error.start} is 0x{error.object[error.start]:02X}",
            "save it as UTF-8, or make one with: meterlog bench new > bench.yaml",
        ) from None
    return read_bench(text, str(path))


def profiles_kept(db: Path) -> frozenset[str]:
    """The hashes of the profiles that a database rests on: they were checked when they came."""
    if not db.exists():
        return frozenset()
    with reading(db) as record:
        return frozenset(conversation.instrument.profile for conversation in record.conversations())


def stations_of(bench: BenchFile, bench_path: Path, kept: Collection[str] = ()) -> dict[str, Station]:
    """A station for each instrument, its profile compiled: checked, unless it is one of those kept, by their hashes.

    Raises: WrongText, CannotDo.
    """
    stations = {}
    for source, instrument in bench.instruments.items():
        path = find_beside(instrument.profile, bench_path.parent)
        text = _addressed(instrument, text_of(path), path, bench_path)
        profile = (read_kept_profile if text_sha256(text) in kept else compile_profile)(text, str(path))
        stations[source] = Station(source, profile, instrument.facts(source))
    _share_well(bench, stations, str(bench_path))
    return stations


def _share_well(bench: BenchFile, stations: Mapping[str, Station], name: str) -> None:
    """Instruments on one port must be asked, and alike. Raises: WrongText."""
    problems = Problems(name)
    for first, *others in bench.lines:
        for source in (first, *others) if others else ():
            profile, where = stations[source].profile, bench.instruments[source].where
            assert where
            if not profile.polled:
                hint = "of two that speak by themselves nobody can tell whose bytes come: one profile with `messages`"
                where.tell(problems, "port", expected=f"{source} to be asked (`ask`), for its port is shared",
                           saw=f"{profile.key}, which speaks by itself", hint=hint)  # fmt: skip
            elif settings_of(profile) != settings_of(stations[first].profile):
                hint = "one line has one baud rate, parity and number of bits; a request may have a `baud` of its own"
                where.tell(problems, "port", expected=f"`line` as in the profile of {first}", saw="another", hint=hint)
    problems.raise_if_any()


def _addressed(instrument: BenchInstrument, text: str, path: Path, bench_path: Path) -> str:
    """The text of an instrument's profile, at the address that the bench says. Raises: WrongText."""
    if not instrument.address:
        return text
    try:
        return at_address(text, str(path), instrument.address)
    except ValueError as error:
        problems = Problems(str(bench_path))
        assert instrument.where
        expected = "an address that its profile can be used at"
        instrument.where.tell(problems, "address", expected=expected, saw=instrument.address, hint=str(error))
        raise WrongText(problems.in_order()) from None


def find_beside(reference: str, folder: Path) -> Path:
    """A profile's file: beside the bench file, by path, or shipped under that name. Raises: CannotDo."""
    beside = folder / reference
    return beside if beside.is_file() else find(reference, "profiles/instruments")


@contextlib.contextmanager
def _signals(items: queue.Queue[Item], links: dict[str, SupervisedLink]) -> Iterator[None]:
    """SIGINT, SIGTERM and SIGHUP end the links, then the loop; outside the main thread signals are not ours.

    Once the end has begun, another signal changes nothing, also while the process is leaving.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop() -> None:
        end_links(links)  # the loop still takes what they have read
        items.put(Stop())

    begun = threading.Event()

    def begin_to_stop(*_: object) -> None:
        if begun.is_set():
            return
        begun.set()
        threading.Thread(target=stop, name="stop", daemon=True).start()

    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.signal(number, begin_to_stop) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_IGN if begun.is_set() else handler)


@contextlib.contextmanager
def _control(db: Path, items: queue.Queue[Item], announcer: Announcer) -> Iterator[None]:
    server = ControlServer(places.control_socket(db), items, announcer)
    server.start()
    try:
        yield
    finally:
        server.close()


def links_of(
    bench: BenchFile, stations: dict[str, Station], items: queue.Queue[Item], clock: Clock
) -> dict[str, SupervisedLink]:
    """A supervised link for each instrument, not yet started; those on one port have one together."""
    switched = {switch.on for switch in bench.switches}
    links: dict[str, SupervisedLink] = {}
    for source, *sharing in bench.lines:
        link = SupervisedLink(
            source,
            bench.instruments[source],
            settings_of(stations[source].profile),
            items,
            clock=clock,
            has_switch=not switched.isdisjoint((source, *sharing)),
            sharing=sharing,
        )
        links |= dict.fromkeys((source, *sharing), link)
    return links


@contextlib.contextmanager
def _running(links: dict[str, SupervisedLink]) -> Iterator[None]:
    for link in set(links.values()):
        link.start()
    try:
        yield
    finally:
        end_links(links)


def end_links(links: dict[str, SupervisedLink]) -> None:
    """Ask every link to end, and wait for them together; one that hangs in its driver is left to itself."""
    deadline = time.monotonic() + LINKS_END_WITHIN_S
    for link in links.values():
        link.stop()
    for link in links.values():
        link.join(max(0.0, deadline - time.monotonic()))
