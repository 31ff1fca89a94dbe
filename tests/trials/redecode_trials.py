"""`redecode --keep` ended by SIGKILL, alone and beside a running daemon: is the record's file ever damaged?

    PYTHONPATH=.:tests nice python tests/trials/redecode_trials.py [KILLS]

The record is that of tests/old_records, copied anew every 50 kills. Each kill comes at a random moment of reading
again, keeping and folding the log in; after each the file is checked by SQLite's own check, every 50 by the audit.
Beside a daemon, which writes a played meter meanwhile, `--keep` is refused: there the reading again is killed.
"""

from __future__ import annotations

import contextlib
import gzip
import os
import random
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from edge.bench import Daemon, Player, Wire
from players.segments import frame

from meterlog.cli.redecode import redecode
from meterlog.record import redecode as _loaded_before_the_fork  # noqa: F401
from meterlog.store.audit import audit
from meterlog.store.sqlite import open_reader

TESTS = Path(__file__).parents[1]
RECORD = TESTS / "old_records" / "63b7b5f-demo.db.gz"
SEGMENTS = TESTS.parent / "profiles" / "instruments" / "handheld-segments.yaml"
A_COPY = 50


def killed_again(db: Path, profile: Path, *words: str, most_s: float) -> str:
    """Begin a reading again in a process of its own and kill it; answers "killed", or "ended" where it was too late."""
    child = os.fork()
    if not child:
        with open(os.devnull, "w") as silent:
            os.dup2(silent.fileno(), 1)
            os.dup2(silent.fileno(), 2)
        with contextlib.suppress(BaseException):
            redecode.main(["multimeter", str(profile), "--db", str(db), *words])
        os._exit(0)
    until = time.monotonic() + random.uniform(0.0, most_s)
    while time.monotonic() < until:
        if os.waitpid(child, os.WNOHANG)[0]:
            return "ended"
        time.sleep(0.001)
    os.kill(child, 9)
    os.waitpid(child, 0)
    return "killed"


def damage(db: Path) -> list[str]:
    """What SQLite's own check says, and whether the seals still follow one another."""
    with contextlib.closing(sqlite3.connect(f"file:{db}?mode=ro", uri=True)) as read:
        try:
            found = [row[0] for row in read.execute("PRAGMA quick_check") if row[0] != "ok"]
            count, last = read.execute("SELECT count(*), max(number) FROM seal").fetchone()
        except sqlite3.DatabaseError as error:
            return [str(error)]
    return found + ([] if count == last + 1 else ["a hole among the seals"])


def alone(kills: int, profile: Path, folder: Path) -> None:
    seen: Counter[str] = Counter()
    found: Counter[str] = Counter()
    kept, db, took = 0, folder / "alone.db", 1.0
    while seen["killed"] < kills:
        if sum(seen.values()) % A_COPY == 0:
            for leftover in folder.glob("alone.db*"):
                leftover.unlink()
            db.write_bytes(gzip.decompress(RECORD.read_bytes()))
            began = time.monotonic()
            killed_again(db, profile, "--keep", "--reason", "a trial", most_s=60)
            took = time.monotonic() - began
        seen[killed_again(db, profile, "--keep", "--reason", "a trial", most_s=1.2 * took)] += 1
        found.update(damage(db))
        if sum(seen.values()) % A_COPY == A_COPY - 1:
            kept += rows(db, "SELECT count(*) FROM event WHERE kind = 'read again'")
            with contextlib.closing(open_reader(db)) as read:
                found.update(str(finding) for finding in audit(read) if not finding.remark)
    print(f"| alone | {seen['killed']} | {seen['ended']} | {kept} kept | {dict(found) or 'none'} |", flush=True)


def beside_a_daemon(kills: int, profile: Path, folder: Path) -> None:
    seen: Counter[str] = Counter()
    found: Counter[str] = Counter()
    db, wire = folder / "bench.db", Wire()
    db.write_bytes(gzip.decompress(RECORD.read_bytes()))
    daemon = Daemon(folder, {"another": ("handheld-segments", wire.path)})
    player = Player([wire], lambda n: frame(f"{n % 4000:04d}", "ohm", "M"), 0.05)
    player.start()
    before = rows(db, "SELECT count(*) FROM reading")
    while seen["killed"] < kills:
        words = random.choice(((), ("--keep", "--reason", "a trial")))
        seen[killed_again(db, profile, *words, most_s=0.5)] += 1
        found.update(damage(db))
    written = rows(db, "SELECT count(*) FROM reading") - before
    player.stop()
    daemon.stop()
    with contextlib.closing(open_reader(db)) as read:
        found.update(str(finding) for finding in audit(read) if not finding.remark)
    told = f"{written} readings written | {dict(found) or 'none'}"
    print(f"| beside a daemon | {seen['killed']} | {seen['ended']} | {told} |")
    wire.pull()


def rows(db: Path, sql: str) -> int:
    with contextlib.closing(open_reader(db)) as read:
        return int(read.execute(sql).fetchone()[0])


def main(kills: int) -> None:
    folder = Path(tempfile.mkdtemp(prefix="mlagain"))
    profile = folder / "kilo.yaml"
    text = SEGMENTS.read_text()
    profile.write_text(text[: text.index("examples:")].replace("12.2: ohm; up to 40 Mohm", "12.2: kohm"))
    print("| `redecode --keep` | killed | ended before | meanwhile | damage, findings of the audit |")
    print("|---|--:|--:|---|---|", flush=True)
    alone(kills // 2, profile, folder)
    beside_a_daemon(kills - kills // 2, profile, folder)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
