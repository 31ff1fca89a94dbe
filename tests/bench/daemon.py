"""How fast and how small the daemon is: latency, throughput against a hand-written script, processor, memory, disk.

    PYTHONPATH=.:tests python tests/bench/daemon.py [latency] [throughput] [processor] [day] [disk]

Prints Markdown tables; without words, all of them (about four minutes). Instruments are
pseudo-terminals played from this process; both sides of a comparison run in turn, in one run.
"""

import contextlib
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from edge.bench import Daemon, Player, Wire, wait_until
from edge.test_loop import celsius
from players.segments import frame

from meterlog.base.readings import Form, Frame, Reading
from meterlog.daemon.client import act, status_of, watch
from meterlog.daemon.loop import COMMIT_WAIT_S
from meterlog.record.writer import Now
from meterlog.store import sqlite
from meterlog.store.writer import Writer

FRAMES = [frame(f"{number:04d}", "ohm", "M") for number in range(4000)]
TICKS = os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def benched(instruments):
    """A daemon over so many segment meters, all listening."""
    wires = [Wire() for _ in range(instruments)]
    with tempfile.TemporaryDirectory(prefix="meterlog-bench-") as folder:
        daemon = Daemon(Path(folder), {f"meter-{n}": ("handheld-segments", w.path) for n, w in enumerate(wires)})
        daemon.stop()
        daemon.start()  # its database is made: the usual case
        wait_until(lambda: all(link["state"] == "listening" for link in status(daemon)["links"]), "all links open")
        try:
            yield daemon, wires
        finally:
            daemon.stop()
    for wire in wires:
        wire.pull()


def status(daemon):
    return daemon.ask("status")["status"]


def processor_s(pid):
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def share(values, part):
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, round(part * (len(ordered) - 1)))]


def table(title, head, rows):
    print(f"\n{title}\n\n| " + " | ".join(head) + " |\n|" + "---|" * len(head))
    for row in rows:
        print("| " + " | ".join(f"{cell:.3g}" if isinstance(cell, float) else str(cell) for cell in row) + " |")
    sys.stdout.flush()


# ---- latency ----


class Arrivals:
    """When each number was written to each wire, and when it was seen committed and shown."""

    def __init__(self, daemon):
        self.written, self.shown, self.committed = {}, {}, {}
        self.over_wait = []
        self._daemon, self._ended = daemon, threading.Event()
        self._threads = [threading.Thread(target=self._watch), threading.Thread(target=self._look)]
        for thread in self._threads:
            thread.start()

    def _watch(self):
        for line in watch(self._daemon.db):
            now = time.monotonic()
            if line.get("event") == "reading":
                self.shown.setdefault((line["link"], int(line["readings"][0]["shown"])), now)
            if self._ended.is_set():
                return

    def _look(self):
        """Look each half millisecond whether another connection has committed, and then at the rows."""
        db = sqlite.open_reader(self._daemon.db)
        last, known = 0, 0
        while not self._ended.wait(0.0005):
            version = db.execute("PRAGMA data_version").fetchone()[0]
            if version == last:
                continue
            last = version
            rows = db.execute("SELECT id, instrument, shown FROM readings WHERE id > ? ORDER BY id", [known]).fetchall()
            now = time.monotonic()
            self.committed |= {(name, int(shown)): now for _, name, shown in rows}
            if rows:
                known = rows[-1][0]
                oldest = min(self.written[name, int(shown)] for _, name, shown in rows)
                self.over_wait.append(now - oldest - COMMIT_WAIT_S)
        db.close()

    def end(self):
        self._ended.set()
        for thread in self._threads:
            thread.join()


def disk_p99_ms(folder):
    """The disk's own: 4 KiB appended and synced."""
    took = []
    with tempfile.TemporaryFile(dir=folder, buffering=0) as file:
        for _ in range(200):
            file.write(bytes(4096))
            began = time.monotonic()
            os.fdatasync(file.fileno())
            took.append(1000 * (time.monotonic() - began))
    return share(took, 0.99)


def latency(seconds=15):
    rows = []
    for instruments in (1, 8, 32):
        with benched(instruments) as (daemon, wires):
            arrivals = Arrivals(daemon)
            begin = time.monotonic() + 0.2
            for turn in range(4 * seconds):
                for n, wire in enumerate(wires):
                    due = begin + (turn + n / instruments) / 4
                    time.sleep(max(0.0, due - time.monotonic()))
                    arrivals.written[f"meter-{n}", turn] = time.monotonic()
                    wire.write(FRAMES[turn])
            wait_until(lambda a=arrivals: len(a.committed) == len(a.written), "all committed")
            arrivals.end()
            shown = [1000 * (at - arrivals.written[key]) for key, at in arrivals.shown.items()]
            kept = [1000 * (at - arrivals.written[key]) for key, at in arrivals.committed.items()]
            over = [1000 * late for late in arrivals.over_wait]
            acts = list(acted(daemon))
            figures = [share(series, part) for series in (shown, kept, over, acts) for part in (0.5, 0.99)]
            rows.append([instruments, *figures, disk_p99_ms(daemon.db.parent), len(arrivals.written) - len(shown)])
    head = ["instruments", "shown p50", "p99", "committed p50", "p99", "over the wait p50", "p99",
            "act kept p50", "p99", "disk p99", "not shown"]  # fmt: skip
    table(f"Byte to shown, to committed (free-running readings wait {COMMIT_WAIT_S:.0f} s at most), ms", head, rows)


def acted(daemon):
    """How long acts take until they are acknowledged as committed, ms."""
    daemon.ask("open job", procedure="microwave-oven", ref="K-7")
    walk = status_of(daemon.db).walk
    for number in range(100):
        began = time.monotonic()
        act(daemon.db, walk, "note", text=f"invented note {number}")
        yield 1000 * (time.monotonic() - began)


# ---- throughput ----


def throughput(frames=200_000, rounds=3):
    sides = {
        "meterlog": lambda: product_takes(frames),
        "script, tables": lambda: script_takes(frames),
        "script, tables and a memory of frames": lambda: script_takes(frames, "remember"),
    }
    took = {name: [] for name in sides}
    for _ in range(rounds):
        for name, side in sides.items():
            took[name].append(side())
    rows = []
    for name, times in took.items():
        wall, cpu = (min(one[i] for one in times) for i in (0, 1))
        rows.append([name, round(frames / wall), 1e6 * cpu / frames])
    _, best, least = rows[0]
    rows = [[name, rate, cpu, best / rate, cpu / least] for name, rate, cpu in rows]
    head = ["", "readings/s", "CPU us a reading", "meterlog's rate : this", "this CPU : meterlog's"]
    table(
        f"A flood of {frames:,} readings through a pseudo-terminal into the same tables, best of {rounds}", head, rows
    )


def flood(db, wire, pid, frames):
    """(wall s, CPU s) of so many readings more, committed while the flood goes on: no last wait is in it."""
    reader = sqlite.open_reader(db)

    def kept():
        return reader.execute("SELECT coalesce(max(id), 0) FROM reading").fetchone()[0]

    block = b"".join(FRAMES)
    player = Player([wire], lambda _: block)
    player.start()
    wait_until(lambda: kept() > len(FRAMES), "the first of the flood")
    before, cpu, began = kept(), processor_s(pid), time.monotonic()
    wait_until(lambda: kept() >= before + frames, "all committed", 120)
    part = frames / (kept() - before)  # the last batch may hold some more
    took = part * (time.monotonic() - began), part * (processor_s(pid) - cpu)
    player.stop()
    reader.close()
    return took


def product_takes(frames):
    with benched(1) as (daemon, (wire,)):
        return flood(daemon.db, wire, daemon.process.pid, frames)


def script_takes(frames, *words):
    with benched(1) as (daemon, (wire,)):
        wire.write(FRAMES[0])
        wait_until(lambda: daemon.store()["committed"] == 1, "a first reading, whose form the script will use")
        daemon.stop()
        link = daemon.rows("SELECT max(id) FROM link")[0][0]
        script = Path(__file__).with_name("handwritten.py")
        process = subprocess.Popen([sys.executable, str(script), wire.path, str(daemon.db), str(link), *words])
        wire.write(FRAMES[0])
        wait_until(lambda: daemon.rows("SELECT count(*) FROM reading") == [(2,)], "the script to read")
        took = flood(daemon.db, wire, process.pid, frames)
        process.kill()
        process.wait()
        daemon.start()
        return took


# ---- processor and memory ----


def processor(seconds=20):
    rows = []
    for instruments in (1, 8, 32):
        with benched(instruments) as (daemon, wires):
            idle = used(daemon, seconds / 2)
            player = Player(wires, lambda n: FRAMES[n % 4000], pause_s=0.25)
            player.start()
            busy = used(daemon, seconds)
            rows.append([instruments, idle, busy, busy / instruments, daemon.rss_mib()])
            player.stop()
            player.join()
    head = ["instruments", "idle, % of a core", "at 4 readings/s each, %", "each, %", "resident MiB"]
    table("Processor and memory", head, rows)


def used(daemon, seconds):
    before = processor_s(daemon.process.pid)
    time.sleep(seconds)
    return 100 * (processor_s(daemon.process.pid) - before) / seconds


def day(instruments=8):
    """A day's readings of eight instruments at 4/s, as fast as they are taken, in one open job."""
    whole, rows = 4 * 86_400 * instruments, []
    block = b"".join(FRAMES)
    with benched(instruments) as (daemon, wires):
        daemon.ask("open job", procedure="microwave-oven", ref="K-7")
        rows.append([0, daemon.rss_mib()])
        for quarter in range(1, 5):
            for _ in range(whole // 4 // instruments // len(FRAMES)):
                for wire in wires:
                    wire.write(block)
            wait_until(lambda: daemon.store()["pending"] == 0, "all committed", 120)
            rows.append([sum(link["count"] for link in status(daemon)["links"]), daemon.rss_mib()])
            print(quarter, "of 4 quarters", file=sys.stderr)
    table("A simulated day of 8 instruments at 4 readings/s, one job open", ["readings", "resident MiB"], rows)


# ---- disk ----


def disk(instruments=8, hours=1):
    """Bytes of the database a reading, and bytes written, for an hour of commits each second in simulated time."""
    form = Form(quantity="temperature", unit="degC", scale=1.0, offset=273.15, decimals=1, width=3)
    with tempfile.TemporaryDirectory(prefix="meterlog-bench-") as folder:
        path = Path(folder) / "bench.db"
        writer = Writer(path, Now(0, 0, "boot"))
        links = [
            writer.open_link(f"t-{n}", "profile: x\n", "", "loop://", Now(0, 0, "boot")) for n in range(instruments)
        ]
        writer.commit(Now(0, 0, "boot"))
        size, written = path.stat().st_size, written_bytes()
        for second in range(3600 * hours):
            for link in links:
                readings = [Frame(0, celsius(200 + n), second + n / 4, (Reading(form, 200 + n),)) for n in range(4)]
                writer.outcomes(link, readings, None, None)
            writer.commit(Now(1000 * second, 1000 * second, "boot"))
        written = written_bytes() - written
        writer.close(Now(3_600_000 * hours, 3_600_000 * hours, "boot"))
        readings = 4 * 3600 * hours * instruments
        each, a_day = (path.stat().st_size - size) / readings, written / hours * 24 / 1e9
    table(
        f"Disk: {instruments} instruments at 4 readings/s, frames of {len(celsius(0))} bytes",
        ["bytes of database a reading", "GB written a day"],
        [[each, a_day]],
    )


def written_bytes():
    lines = Path("/proc/self/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))


ALL = {"latency": latency, "throughput": throughput, "processor": processor, "day": day, "disk": disk}

if __name__ == "__main__":
    for word in sys.argv[1:] or ALL:
        ALL[word]()
