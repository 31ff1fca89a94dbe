"""A bench's database made again from what the workshop holds: for the audit, and to look at one bench in whole."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any, NamedTuple

from meterlog.base.seals import NO_SEAL, line_hash, read_line
from meterlog.store import sqlite
from meterlog.store.layout import migrate
from meterlog.workshop.packing import unpacked

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from meterlog.store.sqlite import Connection
    from meterlog.workshop.address import psycopg

_ORDER = (
    "bench", "text", "instrument", "link", "form", "job", "step", "chunk", "reading", "unread", "sent", "capture",
    "verdict", "event", "reread", "leaf",
)  # fmt: skip


class Gap(NamedTuple):
    """What could not be put in: from which commit on, and why."""

    number: int
    why: str


def rebuild(server: psycopg.Connection[Any], bench: str, path: Path) -> list[Gap]:
    """Write a bench's database to a new file from its unbroken line of commits; answers what was left out."""
    gaps: list[Gap] = []
    db = sqlite.open_writer(path)
    with contextlib.closing(db):
        migrate(db)
        _forget_own_identity(db)
        db.execute("BEGIN")
        try:
            for number, line, body in _line_of(server, bench, gaps):
                _insert(db, number, line, body, gaps)
            for row in server.execute(
                "SELECT digest, job, salt, name, value, content FROM meterlog.personal WHERE bench = %s", [bench]
            ):
                db.execute("INSERT INTO disclosure VALUES (?, ?, ?, ?, ?, ?)", row)
        finally:
            db.execute("COMMIT")
    return gaps


def _forget_own_identity(db: Connection) -> None:
    """Take out the identity that every new database gets: the commits bring the bench's own."""
    trigger = db.execute("SELECT sql FROM sqlite_master WHERE name = 'bench_refuses_delete'").fetchone()[0]
    db.execute("DROP TRIGGER bench_refuses_delete")
    db.execute("DELETE FROM bench")
    db.execute(trigger)


def _line_of(server: psycopg.Connection[Any], bench: str, gaps: list[Gap]) -> Iterator[tuple[int, str, bytes]]:
    """The commits from the first on, each the one that continues the one before; of rival lines the longest."""
    left_out = shorter_lines(server, bench)
    previous, expected = NO_SEAL, 0
    with server.transaction(), server.cursor(name="line") as cursor:
        cursor.itersize = 2000
        cursor.execute(
            "SELECT number, hash, line, body FROM meterlog.commit WHERE bench = %s ORDER BY number, hash", [bench]
        )
        for number, own, line, body in cursor:
            if own in left_out:
                continue
            if number != expected or read_line(line).previous != previous:
                why = "is not there yet" if number > expected else "does not continue the one before"
                gaps.append(Gap(expected, why))
                return
            yield number, line, bytes(body)
            previous, expected = line_hash(line), expected + 1


def shorter_lines(server: psycopg.Connection[Any], bench: str) -> set[str]:
    """The commits of rival lines that are not the longest; empty where there is no fork."""
    first = server.execute("SELECT min(number) FROM meterlog.fork WHERE bench = %s", [bench]).fetchone()
    if first is None or first[0] is None:
        return set()
    sql = "SELECT number, hash, line FROM meterlog.commit WHERE bench = %s AND number >= %s ORDER BY number DESC, hash"
    behind: dict[str, tuple[int, str]] = {}  # by a hash: how many follow it, and the next one of them
    every = server.execute(sql, [bench, first[0]]).fetchall()
    for _, own, line in every:
        length = behind.get(own, (0, ""))[0] + 1
        before = read_line(line).previous
        if length > behind.get(before, (0, ""))[0]:
            behind[before] = (length, own)
    roots = {read_line(line).previous for number, _, line in every if number == first[0]}
    kept, at = set(), max(roots, key=lambda root: behind[root][0])
    while at in behind:
        at = behind[at][1]
        kept.add(at)
    return {own for _, own, _ in every} - kept


def _insert(db: Connection, number: int, line: str, body: bytes, gaps: list[Gap]) -> None:
    try:
        rows = unpacked(body)
    except ValueError as error:
        gaps.append(Gap(number, str(error)))
        return
    db.execute("INSERT INTO seal VALUES (?, ?, ?)", (number, line, read_line(line).acts))
    for table in _ORDER:
        for row in rows.get(table, ()):
            db.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row)
