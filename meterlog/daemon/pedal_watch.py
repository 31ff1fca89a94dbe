"""Keyboard-type pedals of the bench: each on a thread of its own, opened again when it was unplugged."""

from __future__ import annotations

import contextlib
import logging
from threading import Event, Thread
from typing import TYPE_CHECKING

from meterlog.daemon.items import LineChanged
from meterlog.daemon.link_states import next_wait_s
from meterlog.links import LinkLost
from meterlog.links.pedal_keys import Keys

if TYPE_CHECKING:
    import queue
    from collections.abc import Iterator

    from meterlog.daemon.clock import Clock
    from meterlog.daemon.items import Item
    from meterlog.links.benchfile import BenchFile, Pedal

log = logging.getLogger("meterlog")


class PedalWatch:
    """Tells the bench loop of each press, as a line called "key"."""

    def __init__(self, name: str, pedal: Pedal, items: queue.Queue[Item], clock: Clock) -> None:
        self.name = name
        self._pedal, self._items, self._clock = pedal, items, clock
        self._stopping = Event()
        self._thread = Thread(target=self._run, name=f"pedal {name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        self._thread.join()

    def _run(self) -> None:
        failures = 0
        while not self._stopping.is_set():
            try:
                self._watch()
            except LinkLost as lost:
                failures += 1
                if failures == 1:
                    log.warning("pedal", extra={"facts": {"pedal": self.name, "why": lost.why, "hint": lost.hint}})
                self._stopping.wait(next_wait_s(failures))

    def _watch(self) -> None:
        """Until the end is asked for. Raises: LinkLost."""
        with contextlib.closing(Keys(self._pedal.device)) as keys:
            while not self._stopping.is_set():
                for code, is_down in keys.read():
                    if self._pedal.key in (None, code):
                        word = f"key {'on' if is_down else 'off'}"
                        self._items.put(LineChanged(self.name, word, self._clock.monotonic()))


@contextlib.contextmanager
def pedals_watched(bench: BenchFile, items: queue.Queue[Item], clock: Clock) -> Iterator[None]:
    """The bench's pedals, watched until it is left."""
    watches = [PedalWatch(name, pedal, items, clock) for name, pedal in bench.pedals.items()]
    for watch in watches:
        watch.start()
    try:
        yield
    finally:
        for watch in watches:
            watch.stop()
