"""Sends what a bench has kept and the workshop has not: it asks the server what is there, and stores nothing itself.

Commits with acts go first, so that captures and verdicts of a week offline are there within moments; then the rest from
the bottom. Whatever is cut short is sent again, and what is there already is passed over by its key.
"""

from __future__ import annotations

import contextlib
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo
from meterlog.base.seals import line_hash
from meterlog.store.sqlite import open_reader
from meterlog.workshop.address import connect, psycopg
from meterlog.workshop.layout import VERSION
from meterlog.workshop.packing import packed
from meterlog.workshop.server import version

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from meterlog.store.sqlite import Connection
    from meterlog.workshop.packing import Packed

BATCH = 500
"""Commits of one transaction."""

_COMMIT = {
    "bench": "text",
    "number": "int8",
    "hash": "text",
    "line": "text",
    "acts": "int4",
    "body": "bytea",
    "digest": "bytea",
}
_ROW = {"bench": "text", "tbl": "text", "id": "int8", "number": "int8", "hash": "text", "data": "text"}
"""The columns that are sent, with their types."""

POLL_S = 0.05
STALLED_MS = 30_000

COPIED = "copied or restored: the workshop holds another record under this bench's identity"
WHAT_TO_DO = (
    "a copied disk or a restored backup goes on under an identity of its own: see README, Moving and restoring; "
    "nothing was sent and nothing is lost"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SendProgress:
    """How far the workshop is: the last commit of the unbroken line that it holds, and the last that the bench has."""

    reached: int
    last: int


class Sender:
    """One bench's sender. `told` is called after each transaction, with how many commits it brought.

    Raises: CannotDo, where the server or the database can't be had, or the record is another one.
    """

    def __init__(self, url: str, database: Path, told: Callable[[int], None] = lambda count: None) -> None:
        self._told = told
        with contextlib.ExitStack() as opened:
            self._db = open_reader(database)
            opened.callback(self._db.close)
            self._server = connect(url, autocommit=True)
            opened.callback(self._server.close)
            with self._said():
                self._begin()
            self._opened = opened.pop_all()

    def _begin(self) -> None:
        if version(self._server) != VERSION:
            raise CannotDo("this server is no workshop, or one of another version", "meterlog workshop init URL")
        self._server.execute(f"SET statement_timeout = {STALLED_MS}".encode())
        self._server.execute(f"SET idle_in_transaction_session_timeout = {STALLED_MS}".encode())
        self._server.execute("SET synchronous_commit = on")
        self.bench = self._own_identity()
        self._reached = self._reach()
        self._check_it_is_ours()

    def close(self) -> None:
        self._opened.close()

    @property
    def standing(self) -> SendProgress:
        return SendProgress(reached=self._reached, last=_last(self._db))

    def send_all(self) -> int:
        """Send everything that is there now; answers how many commits."""
        with self._said():
            self._check_it_is_ours()
            last, there = _last(self._db), self._ahead()
            wanted = "SELECT number FROM seal WHERE number > ? AND number <= ? {} ORDER BY number"
            missing = [
                [row[0] for row in self._db.execute(wanted.format(which), [self._reached, last])]
                for which in ("AND acts > 0", "AND acts = 0")
            ]
            numbers = [number for which in missing for number in which if number not in there]
            for commits in self._packed(numbers):
                self._send(commits)
            self._reached = max(self._reached, last)
            self._send_personal()
        return len(numbers)

    def _packed(self, numbers: Sequence[int]) -> Iterator[Sequence[Packed]]:
        """Batches of commits; the next is read and packed while the server takes the one before."""
        with ThreadPoolExecutor(1) as beside:
            waiting = beside.submit(packed, self._db, numbers[:BATCH])
            for first in range(0, len(numbers), BATCH):
                commits = waiting.result()
                waiting = beside.submit(packed, self._db, numbers[first + BATCH : first + 2 * BATCH])
                yield commits

    def follow(self, until: Callable[[], bool]) -> Iterator[SendProgress]:
        """Go on sending as the bench goes on keeping; answers where it stands whenever something was sent."""
        while not until():
            if _last(self._db) > self._reached and self.send_all():
                yield self.standing
            else:
                self._told(0)
                time.sleep(POLL_S)

    # ---- what the server has ----

    def _own_identity(self) -> str:
        row = self._server.execute("SELECT meterlog.mine()").fetchone()
        identity = None if row is None else row[0]
        own = self._db.execute("SELECT identity FROM bench ORDER BY id DESC LIMIT 1").fetchone()[0]
        if identity != own:
            raise CannotDo(
                "this address belongs to another bench",
                "a bench sends with the address that `meterlog workshop join` gave it",
            )
        return str(own)

    def _reach(self) -> int:
        row = self._server.execute("SELECT meterlog.reach(%s)", [self.bench]).fetchone()
        return -1 if row is None else int(row[0])

    def _check_it_is_ours(self) -> None:
        """The newest commit that both have must be one and the same, and the server must have none beyond ours."""
        last = _last(self._db)
        row = self._server.execute("SELECT max(number) FROM meterlog.commit WHERE bench = %s", [self.bench]).fetchone()
        newest = -1 if row is None or row[0] is None else int(row[0])
        both = min(self._reached, last)
        if newest > last or (both >= 0 and self._hash_of(both) not in self._hashes_at(both)):
            raise CannotDo(COPIED, WHAT_TO_DO)
        if newest > self._reached and self._hash_of(newest) not in self._hashes_at(newest):
            raise CannotDo(COPIED, WHAT_TO_DO)

    def _hash_of(self, number: int) -> str:
        return line_hash(self._db.execute("SELECT line FROM seal WHERE number = ?", [number]).fetchone()[0])

    def _hashes_at(self, number: int) -> set[str]:
        sql = "SELECT hash FROM meterlog.commit WHERE bench = %s AND number = %s"
        return {row[0] for row in self._server.execute(sql, [self.bench, number])}

    def _ahead(self) -> set[int]:
        """Numbers beyond the unbroken line that are there already."""
        sql = "SELECT number FROM meterlog.commit WHERE bench = %s AND number > %s"
        return {row[0] for row in self._server.execute(sql, [self.bench, self._reached])}

    # ---- sending ----

    def _send(self, commits: Sequence[Packed]) -> None:
        bench = self.bench
        with self._server.transaction():
            rows = ((bench, c.number, c.hash, c.line, c.acts, c.body, c.digest) for c in commits)
            self._copy("commit", _COMMIT, rows)
            self._copy("row", _ROW, ((bench, t, id, c.number, c.hash, data) for c in commits for t, id, data in c.rows))
        self._told(len(commits))

    def _copy(self, table: str, columns: Mapping[str, str], rows: Iterable[tuple[Any, ...]]) -> None:
        """Add rows to a table of the server's; those that are there already stay as they are."""
        names, db = ", ".join(columns), self._server
        taken = names.replace("data", "data::jsonb")
        declared = ", ".join(f"{name} {kind}" for name, kind in columns.items())
        db.execute(f"CREATE TEMP TABLE IF NOT EXISTS sent_{table} ({declared}) ON COMMIT DELETE ROWS".encode())
        with (
            db.cursor() as cursor,
            cursor.copy(f"COPY sent_{table} ({names}) FROM STDIN (FORMAT BINARY)".encode()) as copy,
        ):
            copy.set_types([*columns.values()])
            for row in rows:
                copy.write_row(row)
        insert = f"INSERT INTO meterlog.{table} ({names}) SELECT {taken} FROM sent_{table} ON CONFLICT DO NOTHING"
        db.execute(insert.encode())

    def _send_personal(self) -> None:
        """Personal fields travel apart: those that are not there yet, and not erased."""
        sql = "SELECT digest FROM meterlog.personal WHERE bench = %s"
        there = {row[0] for row in self._server.execute(sql, [self.bench])}
        kept = [row for row in self._db.execute("SELECT * FROM disclosure") if row["digest"] not in there]
        put = (
            "INSERT INTO meterlog.personal (bench, digest, job, salt, name, value, content) "
            "VALUES (%s, %s, %s, %s, %s, %s, %s) ON CONFLICT DO NOTHING"
        )
        columns = ("digest", "job", "salt", "name", "value", "content")
        with self._server.transaction(), self._server.cursor() as cursor:
            cursor.executemany(put, [(self.bench, *(row[name] for name in columns)) for row in kept])

    @contextlib.contextmanager
    def _said(self) -> Iterator[None]:
        """What the server does wrong, in words."""
        try:
            yield
        except (psycopg.Error, ValueError) as error:  # the client's own, where a line is garbled
            words = (str(error).strip().splitlines() or ["the connection was lost"])[0]
            raise CannotDo(
                f"the workshop did not take it: {words}", "it is tried again; the bench keeps everything"
            ) from None


def _last(db: Connection) -> int:
    row = db.execute("SELECT max(number) FROM seal").fetchone()
    return -1 if row[0] is None else int(row[0])
