"""A real daemon on real pseudo-terminals, for tests: started as a process, played, killed, asked."""

import atexit
import contextlib
import json
import os
import pty
import signal
import subprocess
import sys
import termios
import threading
import time
import tty
from collections import deque
from dataclasses import asdict
from pathlib import Path

from meterlog.base.errors import CannotDo
from meterlog.daemon.client import act, ask, status_of
from meterlog.store.sqlite import open_reader

WITHIN_S = 20.0


def wait_until(true, what, within_s=WITHIN_S):
    """Wait until `true()` holds; the moment that it takes is the machine's, so only its end is bounded."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        if true():
            return
        time.sleep(0.01)
    raise AssertionError(f"waited {within_s} s in vain: {what}")


MOST_TAKEN = 200
_TAKEN: deque[int] = deque()
"""Ends of pulled wires, so that their numbers are not given again while a daemon may still look for them."""


class Wire:
    """A pseudo-terminal: the daemon opens `path`, the test plays the instrument at `write` and `read`."""

    def __init__(self):
        self.master, self._slave = pty.openpty()
        tty.setraw(self._slave, termios.TCSANOW)
        self.path = os.ttyname(self._slave)

    def write(self, data):
        while data:
            data = data[os.write(self.master, data) :]

    def read(self, size=1024):
        return os.read(self.master, size)

    def pull(self):
        """Pull the cable: the other end sees the line hang up, and the path goes.

        The number stays taken as long as one end is open: a daemon that looks for the path again must not find the
        pseudo-terminal of another test, or of another checkout's tests on the same machine.
        """
        with contextlib.suppress(OSError):
            os.close(self.master)
        if self._slave is not None:
            _TAKEN.append(self._slave)
            self._slave = None
        while len(_TAKEN) > MOST_TAKEN:
            os.close(_TAKEN.popleft())


class Cable:
    """A pseudo-terminal behind a path that stays the same while the cable is pulled and plugged in again."""

    def __init__(self, path: Path):
        self.path = str(path)
        self.plug()

    def plug(self):
        self.wire = Wire()
        os.symlink(self.wire.path, self.path)

    def pull(self):
        os.unlink(self.path)
        self.wire.pull()

    def write(self, data):
        self.wire.write(data)


class Player(threading.Thread):
    """Writes what `frame_of(n)` gives to every wire, n = 0, 1, 2 …: as fast as it is taken, or with pauses."""

    def __init__(self, wires, frame_of, pause_s=0.0):
        super().__init__(daemon=True)
        self._wires, self._frame_of, self._pause_s = wires, frame_of, pause_s
        self._ended = threading.Event()
        self.frames = 0

    def run(self):
        with contextlib.suppress(OSError):
            while not self._ended.wait(self._pause_s):
                for wire in self._wires:
                    wire.write(self._frame_of(self.frames))
                self.frames += 1

    def stop(self):
        self._ended.set()


class Daemon:
    """`meterlog listen` as a process of its own over a bench of wires or URLs."""

    def __init__(
        self, folder: Path, instruments: dict[str, tuple[str, str]], *extra: str, bench_more: str = "",
        env: dict[str, str] | None = None,
    ):  # fmt: skip
        self.db = folder / "bench.db"
        self._env = {**os.environ, **(env or {})}
        self.log = folder / "daemon.log"
        lines = ["bench: test bench", "instruments:"]
        for name, (profile, port) in instruments.items():
            lines += [f"  {name}:", f"    profile: {profile}", f"    port: {port}"]
        (folder / "bench.yaml").write_text("\n".join(lines) + "\n" + bench_more)
        self._command = [
            sys.executable, "-m", "meterlog", "listen", "--bench", str(folder / "bench.yaml"), "--db", str(self.db),
            "--log", "json", "--no-sounds", *extra,
        ]  # fmt: skip
        self.start()

    def start(self):
        with open(self.log, "a") as log:
            self.process = subprocess.Popen(self._command, stderr=log, stdout=log, env=self._env)
        atexit.register(self.process.kill)  # a daemon left behind would take the next test's pseudo-terminal
        wait_until(self.answers, "the daemon to answer")

    def answers(self):
        assert self.process.poll() is None, self.log.read_text()
        with contextlib.suppress(CannotDo):
            self.ask("status")
            return True
        return False

    def ask(self, do, **more):
        return ask(self.db, do, who="test", **more)

    def act(self, word, **more):
        """An act meant for what is asked now."""
        return {"ok": True, "walk": asdict(act(self.db, status_of(self.db).walk, word, who="test", **more))}

    def link(self, name):
        return next(link for link in self.ask("status")["status"]["links"] if link["link"] == name)

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def store(self):
        return self.ask("status")["status"]["store"]

    def rss_mib(self):
        """Resident memory of the process, MiB."""
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 2**20

    def stop(self):
        self.process.terminate()
        assert self.process.wait(timeout=WITHIN_S) == 0, self.log.read_text()
        assert "Traceback" not in self.log.read_text(), self.log.read_text()

    def rows(self, sql, *values):
        db = open_reader(self.db)
        try:
            return [tuple(row) for row in db.execute(sql, values)]
        finally:
            db.close()

    def audit(self):
        """What `meterlog audit` finds, and its exit code."""
        done = run("audit", "--db", str(self.db), check=False)
        return done.returncode, done.stderr.strip().rpartition("; ")[2]

    def logged(self):
        return [json.loads(line) for line in self.log.read_text().splitlines() if line.startswith("{")]


def run(*words, check=True, within_s=120):
    """A `meterlog` command; answers the finished process."""
    done = subprocess.run([sys.executable, "-m", "meterlog", *words], capture_output=True, text=True, timeout=within_s)
    assert not check or done.returncode == 0, done.stdout + done.stderr
    return done
