"""The audit of a workshop: every bench's record made again from its commits, and audited by the bench's own code."""

from __future__ import annotations

import contextlib
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meterlog.record.auditor import Finding
from meterlog.store.audit import audit
from meterlog.store.sqlite import DatabaseError, open_reader
from meterlog.workshop.address import connect
from meterlog.workshop.overview import benches
from meterlog.workshop.packing import ASKED, as_shown
from meterlog.workshop.rebuild import rebuild

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.store.sqlite import Connection
    from meterlog.workshop.address import psycopg
    from meterlog.workshop.overview import BenchThere


def audit_workshop(url: str) -> Iterator[Finding]:
    """Everything of every bench that differs: its seals, its rows, what was concluded, and what queries are shown."""
    with connect(url, autocommit=True) as server:
        for bench in benches(server):
            for finding in _of_bench(server, bench):
                yield Finding(where=f"{bench.label}: {finding.where}", what=finding.what, remark=finding.remark)


def _of_bench(server: psycopg.Connection[Any], bench: BenchThere) -> Iterator[Finding]:
    forks = server.execute("SELECT count(*) FROM meterlog.fork WHERE bench = %s", [bench.identity]).fetchone()
    if forks and forks[0]:
        yield Finding(where="commits", what=replace(bench, forks=forks[0]).missing)
    with tempfile.TemporaryDirectory(prefix="meterlog-audit-") as folder:
        made = Path(folder) / "bench.db"
        try:
            gaps = rebuild(server, bench.identity, made)
        except DatabaseError as error:
            yield Finding(where="commits", what=f"its rows do not make a record: {error}")
            return
        for gap in gaps:
            yield Finding(where=f"commit {gap.number}", what=gap.why)
        with contextlib.closing(open_reader(made)) as db:
            yield from audit(db)
            yield from _rows_differ(server, bench.identity, db)


def _rows_differ(server: psycopg.Connection[Any], bench: str, db: Connection) -> Iterator[Finding]:
    """What queries and pages are shown, against the sealed rows that it was taken from."""
    sealed = {
        (table, row["id"]): as_shown(dict(row))
        for table in ASKED
        for row in db.execute(f"SELECT * FROM {table}")
        if row["id"]
    }
    shown = server.execute("SELECT tbl, id, data FROM meterlog.row WHERE bench = %s", [bench])
    for table, number, data in shown:
        kept = sealed.pop((table, number), None)
        if kept is None:
            yield Finding(where=f"{table} {number}", what="is shown, and no commit holds it")
        elif kept != data:
            yield Finding(where=f"{table} {number}", what="is shown otherwise than it was sealed")
    for table, number in sealed:
        yield Finding(where=f"{table} {number}", what="was sealed, and is not shown")
