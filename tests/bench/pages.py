"""How the pages' time grows with the number of readings: 10^5 against 10^7, both in one run.

    python tests/bench/pages.py [--large 10000000] [--folder /tmp]

Makes two databases (the large one is about 1 GB; both are kept in the folder for the next run), asks
the application in process, and prints the median of each page in ms with the ratio. A job has 1,000
readings, ten captures and ten verdicts, as the seed of the tests has them.
"""

import argparse
import asyncio
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import quote

import httpx

sys.path.insert(0, str(Path(__file__).parents[1]))
import records

from meterlog.store import sqlite
from meterlog.web.serve import application

PER_JOB, PER_STEP, ROUNDS = 1000, 100, 25
OURS = {
    "jobs": "/",
    "jobs, older": "/jobs?before={middle}",
    "jobs, a word that one holds": "/jobs?words=J-{middle}",
    "job": "/job/J-{middle}",
    "capture": "/capture/{capture}",
    "verdict": "/verdict/{capture}",
    "history of a step": "/history/fuse?appliance={appliance}",
    "history": "/history",
    "bench": "/bench",
    "last minute": "/bench/minute",
    "hand-over sheet": "/report/J-{middle}",
    "evidence file": "/report/J-{middle}?evidence=1",
}
STOCK = {
    "table of readings": "/record/reading",
    "view of readings": "/record/readings",
    "table of captures": "/record/captures",
    "readings of a job": "/record/job_readings?job=J-{middle}&after=",
    "database": "/record",
}


def make(path: Path, readings: int) -> Path:
    """A database with about that many readings: one seed job by the writer, the others as copies of its rows."""
    if path.exists():
        return path
    part = path.with_suffix(".part")
    part.unlink(missing_ok=True)
    bench = records.Bench(part)
    records.play_job(bench, "SEED", {"complaint": "hums"})
    bench.writer.close(bench.now)
    db = sqlite.open_writer(part)
    db.row_factory = None
    db.execute("PRAGMA synchronous=OFF")
    db.execute("PRAGMA foreign_keys=OFF")
    db.execute("BEGIN")
    copy_jobs(db, readings // PER_JOB)
    db.execute("COMMIT")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    os.rename(part, path)
    return path


def copy_jobs(db, jobs):
    """Jobs J-1 … after the seed, each with its steps, chunks, readings, captures, verdicts, leaves and seals."""
    seed = {table: db.execute(f"SELECT * FROM {table}").fetchall() for table in ("job", "step", "capture", "verdict")}
    names = {table: [row[1] for row in db.execute(f"PRAGMA table_info({table})")] for table in seed}
    last = {t: db.execute(f"SELECT max(id) FROM {t}").fetchone()[0] for t in ("chunk", "reading", *seed)}
    seal = db.execute("SELECT max(number) FROM seal").fetchone()[0]
    steps = [row[names["step"].index("id")] for row in seed["step"]]
    captures = [dict(zip(names["capture"], row, strict=True)) for row in seed["capture"]][: PER_JOB // PER_STEP]
    verdicts = {row[3]: dict(zip(names["verdict"], row, strict=True)) for row in seed["verdict"]}
    form, chunk, reading, at = captures[0]["form"], last["chunk"], last["reading"], 10_000_000
    raw, insert = b"\x55\x09\x00\x00\x00" * PER_STEP, inserter(db)
    for n in range(1, jobs + 1):
        job = last["job"] + n
        insert("job", [(job, f"J-{n}", *seed["job"][0][2:])])
        shift = n * len(steps)
        insert("step", [(row[0] + shift, job, *row[2:]) for row in seed["step"]])
        for i, capture in enumerate(captures):
            chunk, number = chunk + 1, last["capture"] + (n - 1) * len(captures) + i + 1
            step = capture["step"] + shift
            insert("chunk", [(chunk, capture["link"], job, step, at, reading + 1, PER_STEP, raw)])
            run = [(reading + k + 1, chunk, at + k * 250, form, 9 + k % 3, 5 * k, 5) for k in range(PER_STEP)]
            insert("reading", run)
            kept = {**capture, "id": number, "job": job, "step": step, "started": at + 5000, "ended": at + 8000}
            insert("capture", [tuple({**kept, "first_reading": run[20][0], "last_reading": run[32][0]}.values())])
            judged = {**verdicts[capture["id"]], "id": last["verdict"] + number, "job": job, "step": step}
            insert("verdict", [tuple({**judged, "capture": number, "supersedes": None}.values())])
            seal += 1
            insert(
                "seal",
                [
                    (
                        seal,
                        f"meterlog-seal 1 {'0' * 32} {seal} {'0' * 64} {'0' * 64} 2026-01-01T00:00:00.000Z 0 boot 3 2",
                        2,
                    )
                ],
            )
            leaf = [("readings", chunk), ("capture", number), ("verdict", last["verdict"] + number)]
            insert("leaf", [(seal, p, job, 3 * i + p, kind, subject) for p, (kind, subject) in enumerate(leaf)])
            reading, at = reading + PER_STEP, at + PER_STEP * 250


def inserter(db):
    def insert(table, rows):
        db.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)

    return insert


async def timed(path, jobs):
    """The median time of every page, ms."""
    transport = httpx.ASGITransport(app=application(path))
    capture = jobs // 2 * 10
    appliance = quote(records.read_procedure(records.OVEN.read_text(), "oven").appliance)
    found = {}
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1", follow_redirects=True) as browser:
        for name, address in {**OURS, **STOCK}.items():
            url = address.format(middle=jobs // 2, capture=capture, appliance=appliance)
            times = []
            for _ in range(ROUNDS):
                began = time.perf_counter()
                answer = await browser.get(url)
                times.append((time.perf_counter() - began) * 1000)
                assert answer.status_code == 200, (url, answer.text[:300])
            found[name] = statistics.median(times[3:])
    return found


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--small", type=int, default=100_000)
    words.add_argument("--large", type=int, default=10_000_000)
    words.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()))
    told = words.parse_args()
    both = []
    for readings in (told.small, told.large):
        path = make(told.folder / f"meterlog-pages-{readings}.db", readings)
        both.append(asyncio.run(timed(path, readings // PER_JOB)))
    print(f"{'page':<30}{told.small:>12,}{told.large:>14,}  ms    ratio")
    for name, small in both[0].items():
        large = both[1][name]
        print(f"{name:<30}{small:>12.1f}{large:>14.1f}      {large / small:6.2f}")
    worst = max(both[1][name] / both[0][name] for name in OURS)
    print(f"worst ratio of our own pages: {worst:.2f}")


if __name__ == "__main__":
    main()
