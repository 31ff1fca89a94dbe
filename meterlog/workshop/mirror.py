"""A read-only copy of what a query needs, of all benches in one database of a bench's layout.

The pages read SQLite, and so does Datasette; a second adapter behind every page would mean each rule twice.
So a mirror is kept: jobs, steps, captures, verdicts and acts of each bench, their ids parted by bench, brought up to
date by asking for what is newer. Readings and bytes stay on the server and on their bench: `workshop fetch` brings one
bench in whole.
"""

from __future__ import annotations

import contextlib
import threading
import time
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo
from meterlog.store import sqlite
from meterlog.store.layout import migrate
from meterlog.store.reader import SHIFT
from meterlog.workshop.address import connect, psycopg
from meterlog.workshop.overview import BenchThere, benches
from meterlog.workshop.packing import columns_of
from meterlog.workshop.rebuild import shorter_lines

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from meterlog.store.sqlite import Connection

TABLES = ("text", "instrument", "link", "form", "job", "step", "capture", "verdict", "event")
_POINTS_AT = {
    "instrument": (),
    "link": ("instrument",),
    "step": ("job",),
    "capture": ("job", "step", "link", "form", "first_reading", "last_reading"),
    "verdict": ("job", "step", "capture", "supersedes"),
    "event": ("job", "step", "link"),
}
"""The columns of each table that hold another row's id; the readings that a capture names stay with their bench."""

MADE_ANEW = (
    "CREATE TABLE IF NOT EXISTS mirrored (bench TEXT PRIMARY KEY, label TEXT NOT NULL, place INTEGER UNIQUE, "
    "number INTEGER NOT NULL, heard TEXT NOT NULL, missing TEXT NOT NULL)",
    "CREATE INDEX IF NOT EXISTS job_of_appliance_by_time ON job (appliance, opened_utc_ms)",
)
"""What a mirror has beside a bench's tables: which bench holds what (how far each has sent, when it was heard last,
what is known to be missing), and jobs in the order of time, which their ids do not tell between benches."""

EVERY_S = 15.0


def refresh(server: psycopg.Connection[Any], path: Path) -> int:
    """Bring a mirror up to date, making it where it is not there; answers how many rows came."""
    made = not path.exists()
    db = sqlite.open_writer(path)
    with contextlib.closing(db):
        if made:
            migrate(db)
        for statement in MADE_ANEW:
            db.execute(statement)
        db.execute("PRAGMA foreign_keys=OFF")
        came = 0
        for bench in benches(server):
            came += _bench(server, db, bench)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return came


def keep_fresh(url: str, path: Path, say: Callable[[str], None]) -> None:
    """Make a mirror, and go on refreshing it in the background for as long as the program runs. Raises: CannotDo."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with connect(url, autocommit=True) as server:
        refresh(server, path)

    def again() -> None:
        was_there = True
        while True:
            time.sleep(EVERY_S)
            try:
                with connect(url, autocommit=True) as server:
                    refresh(server, path)
                was_there = True
            except (CannotDo, psycopg.Error, sqlite.DatabaseError) as error:
                if was_there:
                    say(f"the workshop is away; what is shown is older: {error}")
                was_there = False

    threading.Thread(target=again, name="workshop mirror", daemon=True).start()


def _bench(server: psycopg.Connection[Any], db: Connection, bench: BenchThere) -> int:
    row = db.execute("SELECT place, number FROM mirrored WHERE bench = ?", [bench.identity]).fetchone()
    place, since = row or (db.execute("SELECT count(*) + 1 FROM mirrored").fetchone()[0], -1)
    db.execute("BEGIN")
    try:
        came = _rows(server, db, bench, place, since) if bench.reached > since else 0
        _personal(server, db, bench.identity, place)
        progress = [bench.identity, bench.label, place, max(bench.reached, since), bench.heard, bench.missing]
        db.execute("INSERT OR REPLACE INTO mirrored VALUES (?, ?, ?, ?, ?, ?)", progress)
        db.execute("COMMIT")
    except BaseException:
        db.execute("ROLLBACK")
        raise
    return came


def _rows(server: psycopg.Connection[Any], db: Connection, bench: BenchThere, place: int, since: int) -> int:
    """The rows of a bench's commits after one, of rival lines those of the longest; answers how many came."""
    left_out = list(shorter_lines(server, bench.identity)) if bench.forks else []
    kept = {row[0] for row in db.execute("SELECT sha256 FROM text")}  # benches share their profiles and procedures
    names = {table: columns_of(db, table) for table in TABLES}
    came = 0
    with server.transaction(), server.cursor(name="mirror") as cursor:
        cursor.itersize = 2000
        cursor.execute(
            "SELECT tbl, data FROM meterlog.row WHERE bench = %s AND number > %s AND number <= %s "
            "AND NOT hash = ANY(%s) AND tbl = ANY(%s)",
            [bench.identity, since, bench.reached, left_out, list(TABLES)],
        )
        for table, data in cursor:
            moved = _moved(table, data, place, bench.label)
            came += 1
            if table != "text" or moved["sha256"] not in kept:
                marks = ", ".join("?" * len(names[table]))
                db.execute(f"INSERT INTO {table} VALUES ({marks})", [moved.get(name) for name in names[table]])
    return came


def _personal(server: psycopg.Connection[Any], db: Connection, identity: str, place: int) -> None:
    """The personal fields of a bench as they are there now: what was erased is gone here too."""
    of_bench = "FROM meterlog.personal WHERE bench = %s AND job IS NOT NULL"
    there = {row[0] for row in server.execute(f"SELECT digest {of_bench}".encode(), [identity])}
    here = {row[0] for row in db.execute("SELECT digest FROM disclosure WHERE job >> ? = ?", [SHIFT, place])}
    db.executemany("DELETE FROM disclosure WHERE digest = ?", [(digest,) for digest in here - there])
    sql = f"SELECT digest, job, salt, name, value, content {of_bench} AND digest = ANY(%s)"
    for digest, job, *rest in server.execute(sql.encode(), [identity, list(there - here)]):
        db.execute("INSERT INTO disclosure VALUES (?, ?, ?, ?, ?, ?)", [digest, job + (place << SHIFT), *rest])


def _moved(table: str, row: Mapping[str, Any], place: int, label: str) -> dict[str, Any]:
    """A row with its ids parted from those of other benches, and a job's reference named by its bench."""
    offset = place << SHIFT
    moved = dict(row)
    for name in ("id", *_POINTS_AT.get(table, ())):
        if isinstance(moved.get(name), int):
            moved[name] += offset
    if table == "job":
        moved["ref"] = f"{row['ref']} at {label}"
    return moved
