"""Both ends of a workshop: a bench whose record grows, what its server holds of it, and a bad line between them."""

import contextlib
import socket
import sqlite3
import threading
from dataclasses import dataclass, field
from pathlib import Path

import psycopg
from records import OHMS, Bench, now

from meterlog.base.readings import Rejected
from meterlog.base.seals import line_hash
from meterlog.workshop import server
from meterlog.workshop.sender import Sender


class Played:
    """A bench whose record grows."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.bench = Bench(path)
        self.ms = 0

    @property
    def writer(self):
        return self.bench.writer

    def grow(self, commits: int) -> None:
        """So many commits of free readings, with an act, something sent and something unread now and then."""
        for n in range(commits):
            self.ms += 1000
            for _ in range(4):
                self.bench.show(OHMS, 1000 + n, None, None)
            if n % 5 == 0:
                at, start = self.bench.at, self.bench.start
                self.writer.sent(self.bench.link, b"READ?\n", at, None, None)
                self.writer.outcomes(self.bench.link, [Rejected(start, b"\x55\x00", at, "cut short")], None, None)
                self.bench.start += 2
            if n % 7 == 0:
                self.writer.event("noted", now(self.ms), {"text": f"act {n}"}, who="tests")
            self.writer.commit(now(self.ms))


def joined(url, played, label="bench one"):
    """The address with which a bench sends."""
    return server.join(url, played.writer.bench, label)


def sent(address, played):
    """Send all there is; answers how many commits."""
    with contextlib.closing(Sender(address, played.path)) as sender:
        return sender.send_all()


def hashes_here(path):
    with contextlib.closing(sqlite3.connect(path)) as db:
        return [line_hash(line) for (line,) in db.execute("SELECT line FROM seal ORDER BY number")]


def hashes_there(url, bench):
    with psycopg.connect(url) as db:
        sql = "SELECT hash FROM meterlog.commit WHERE bench = %s ORDER BY number"
        return [row[0] for row in db.execute(sql, [bench])]


def same_on_both_ends(url, played):
    """Nothing is lost and nothing double: the very hashes, in order. Answers how many."""
    here = hashes_here(played.path)
    assert hashes_there(url, played.writer.bench) == here
    return len(here)


@dataclass
class Fault:
    """What the line does once so many bytes of the bench have passed: cut, swallow, repeat, swap; `answers` cuts there.

    `swallow` goes on reading and closes nothing, which gets past every time-out.
    """

    kind: str = ""
    after: int = 0
    done: bool = False


@dataclass
class BadLine:
    """A socket in a folder of its own that leads to a server's, byte by byte, but for its fault."""

    folder: Path
    to: str
    fault: Fault = field(default_factory=Fault)
    give_up_after_s: float | None = None
    """After so long without a byte on a garbled line both ends are closed: who waits for whom is not known there."""
    asked: int = 0
    answered: int = 0
    """Bytes from the bench, and to it, since the last connection was opened."""

    def __post_init__(self) -> None:
        self._open: list[socket.socket] = []
        self._door = socket.socket(socket.AF_UNIX)
        self._door.bind(str(self.folder / Path(self.to).name))
        self._door.listen(16)
        threading.Thread(target=self._serve, daemon=True).start()

    def address(self, address: str) -> str:
        """A bench's address by way of this line."""
        return psycopg.conninfo.make_conninfo(address, host=str(self.folder))

    def close(self) -> None:
        for each in (self._door, *self._open):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _serve(self) -> None:
        while True:
            try:
                bench, _ = self._door.accept()
            except OSError:
                return
            there = socket.socket(socket.AF_UNIX)
            try:
                there.connect(self.to)
            except OSError:
                bench.close()
                continue
            self._open += [bench, there]
            self.asked = self.answered = 0
            for source, to, way in ((bench, there, "asked"), (there, bench, "answered")):
                threading.Thread(target=self._pump, args=(source, to, way), daemon=True).start()

    def _pump(self, source: socket.socket, to: socket.socket, way: str) -> None:
        held, came = b"", 0
        source.settimeout(self.give_up_after_s)
        with contextlib.suppress(OSError):
            while data := source.recv(4096):
                fault = self.fault
                came += len(data)
                if way == "asked":
                    self.asked = came
                else:
                    self.answered = came
                is_due = came > fault.after and not fault.done and (way == "answered") == (fault.kind == "answers")
                if is_due and fault.kind in ("cut", "answers"):
                    fault.done = True
                    to.sendall(data[: max(0, len(data) - (came - fault.after))])
                    break
                if is_due and fault.kind == "swallow":
                    continue
                if is_due and fault.kind == "repeat":
                    fault.done = True
                    data += data
                if is_due and fault.kind == "swap" and not held:
                    held = data
                    continue
                to.sendall(data + held)
                if held:
                    fault.done, held = True, b""
        for each in (source, to):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()
