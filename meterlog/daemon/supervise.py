"""One thread a link: opens, reads, notices loss, tries again under the same name."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from meterlog.daemon.items import Damaged, LineChanged, Opened, Received, StateChanged
from meterlog.daemon.link_states import LinkState, next_wait_s
from meterlog.links import LinkLost, open_link
from meterlog.links.ports import device_of

if TYPE_CHECKING:
    import queue
    from collections.abc import Sequence

    from meterlog.daemon.clock import Clock
    from meterlog.daemon.items import Item
    from meterlog.links import Link
    from meterlog.links.benchfile import BenchInstrument
    from meterlog.links.settings import LineSettings

SWITCH_WAIT_S = 0.01
"""How often control lines are looked at on a link that carries a switch."""

QUIET_WAIT_S = 0.5
"""How long a read waits for a first byte: a link that says nothing wakes twice a second."""


COUNT_EVERY_S = 2.0
"""How often the port's driver is asked for the damage that it counted."""


class SupervisedLink:
    """The task of one link. `start` it; `stop` ends it within one read's wait.

    `sharing`: the other instruments on its line, which are told of all but what comes: the loop knows whose that is.
    """

    def __init__(
        self, source: str, instrument: BenchInstrument, settings: LineSettings, queue: queue.Queue[Item], *,
        clock: Clock, has_switch: bool = False, sharing: Sequence[str] = (),
    ) -> None:  # fmt: skip
        self.source = source
        self.sources = (source, *sharing)
        self._instrument = instrument
        self._settings = settings
        self._queue = queue
        self._clock = clock
        self._wait_s = SWITCH_WAIT_S if has_switch else QUIET_WAIT_S
        self._has_switch = has_switch
        self._told: tuple[LinkState, str] | None = None
        self._heard = False
        self._stopping = threading.Event()
        self._again = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"link {source}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Ask the task to end; it closes its link."""
        self._stopping.set()
        self._again.set()

    def try_again(self) -> None:
        """Try a waiting or given-up link at once: a person has acted."""
        self._again.set()

    def join(self, timeout: float) -> None:
        self._thread.join(timeout)

    def _run(self) -> None:
        try:
            self._supervise()
        except BaseException:
            why = "its task ended by a mistake in meterlog"
            self._change(LinkState.GIVEN_UP, why, "see the log, and start the daemon again")
            raise

    def _supervise(self) -> None:
        """Open, listen, and try again; a link that is opened again and again for nothing is tried less often."""
        failures = 0
        self._change(LinkState.OPENING)
        while not self._stopping.is_set():
            self._heard = False
            try:
                self._open_and_listen()
            except LinkLost as lost:
                failures = 1 if self._heard else failures + 1
                self._wait(lost, failures)

    def _open_and_listen(self) -> None:
        """Until the end is asked for. Raises: LinkLost, with the link closed."""
        url = url_of(self._instrument)
        link = open_link(url, self._settings, self._wait_s)
        line, now = (url if len(self.sources) > 1 else ""), self._clock.monotonic()
        for source in self.sources:
            self._queue.put(Opened(source, link, url, now, line))
        self._change(LinkState.LISTENING)
        try:
            self._listen(link)
        finally:
            link.close()

    def _listen(self, link: Link) -> None:
        """Read until told to stop. Raises: LinkLost."""
        lines: dict[str, bool] = {}
        counted_at, damage = self._clock.monotonic(), 0
        while not self._stopping.is_set():
            data = link.read()
            now = self._clock.monotonic()
            if data:
                self._heard = True
                self._queue.put(Received(self.source, data, now))
            if self._has_switch:
                self._look_at(link, lines, now)
            if now - counted_at > COUNT_EVERY_S:
                counted_at, damage = now, self.count_damage(link, damage)

    def _look_at(self, link: Link, lines: dict[str, bool], now: float) -> None:
        for name, is_on in link.control_lines().items():
            if lines.get(name, False) != is_on:
                lines[name] = is_on
                for source in self.sources:
                    self._queue.put(LineChanged(source, f"{name} {'on' if is_on else 'off'}", now))

    def count_damage(self, link: Link, told: int) -> int:
        """Tell of damage once, and again each time that it has doubled. Answers how much is told of."""
        errors = link.line_errors()
        count = sum(errors.values())
        if count < max(1, 2 * told):
            return told
        for source in self.sources:
            self._queue.put(Damaged(source, errors))
        return count

    def _wait(self, lost: LinkLost, failures: int) -> None:
        if self._stopping.is_set():
            return
        self._change(LinkState.GIVEN_UP if lost.hopeless else LinkState.WAITING, lost.why, lost.hint)
        self._again.wait(None if lost.hopeless else next_wait_s(failures))
        if not self._stopping.is_set():
            self._again.clear()

    def _change(self, state: LinkState, why: str = "", hint: str = "") -> None:
        """The one place where the state changes: remembered and told, once for each change or new reason."""
        if (state, why) != self._told:
            self._told = (state, why)
            for source in self.sources:
                self._queue.put(StateChanged(source, state, why, hint, self._clock.monotonic()))


def url_of(instrument: BenchInstrument) -> str:
    """Where an instrument is now. Raises: LinkLost when its adapter is not plugged in."""
    if instrument.port:
        return instrument.port
    device = device_of(instrument.usb_serial)
    if device is None:
        serial = instrument.usb_serial
        raise LinkLost(f"no adapter with serial number {serial} is plugged in", "plug it in; see: meterlog ports")
    return device
