"""A commit as it travels: its seal's line, and every row that it holds as the bench keeps it, in one compressed body.

The bench's record is the outbox: commits are numbered without holes inside their own transaction, so that a number that
is there is whole, and none can come later below it.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.seals import line_hash
from meterlog.record.acts import ActKind
from meterlog.store.sealed import TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from meterlog.store.sqlite import Connection

ASKED = ("text", "instrument", "link", "form", "job", "step", "capture", "verdict", "event", "bench")
"""Tables whose rows are also kept as rows on the server: what a query needs."""

_BYTES = {"chunk": 7, "sent": 4}
"""The column that holds bytes, by table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """One commit. `rows` are (table, id, row as JSON) of the tables in `ASKED`."""

    number: int
    hash: str
    line: str
    acts: int
    body: bytes
    rows: tuple[tuple[str, int, str], ...]

    @property
    def digest(self) -> bytes:
        """SHA-256 of the body, for the server to check; the root is for the audit to make again."""
        return hashlib.sha256(self.body).digest()


def packed(db: Connection, numbers: Sequence[int]) -> Iterator[Packed]:
    """The commits of these numbers, in order."""
    for number in numbers:
        row = db.execute("SELECT number, line, acts FROM seal WHERE number = ?", [number]).fetchone()
        rows = rows_of(db, number)
        body = zlib.compress(json.dumps(rows, separators=(",", ":"), ensure_ascii=False).encode(), 6)
        yield Packed(
            number=number, hash=line_hash(row["line"]), line=row["line"], acts=row["acts"], body=body,
            rows=tuple(_asked(db, rows)),
        )  # fmt: skip


def rows_of(db: Connection, number: int) -> dict[str, list[list[Any]]]:
    """Every row of a commit by table, columns in the table's order, bytes in base64."""
    rows: dict[str, list[list[Any]]] = defaultdict(list)
    for leaf in db.execute("SELECT * FROM leaf WHERE seal = ? ORDER BY place", [number]):
        rows["leaf"].append([*leaf])
        kind, subject = leaf["kind"], leaf["subject"]
        if kind == "steps":
            rows["step"] += [[*row] for row in db.execute("SELECT * FROM step WHERE job = ?", [subject])]
            continue
        row = db.execute(f"SELECT * FROM {TABLES[kind]} WHERE id = ?", [subject]).fetchone()
        rows[TABLES[kind]].append([*row])
        if kind == "readings":
            _add_chunk(db, rows, row)
        elif kind == "event" and row["kind"] == ActKind.READ_AGAIN:
            rows["reread"] += [[*each] for each in db.execute("SELECT * FROM reread WHERE event = ?", [subject])]
    for table, column in _BYTES.items():
        for row in rows.get(table, ()):
            row[column] = base64.b64encode(row[column]).decode()
    return dict(rows)


def _add_chunk(db: Connection, rows: dict[str, list[list[Any]]], chunk: Mapping[str, Any]) -> None:
    first, count = chunk["first_reading"], chunk["readings"]
    between = "SELECT * FROM reading WHERE id BETWEEN ? AND ? ORDER BY id"
    rows["reading"] += [[*row] for row in db.execute(between, [first, first + count - 1])]
    for table in ("unread", "sent"):
        rows[table] += [
            [*row] for row in db.execute(f"SELECT * FROM {table} WHERE chunk = ? ORDER BY id", [chunk["id"]])
        ]


def _asked(db: Connection, rows: Mapping[str, list[list[Any]]]) -> Iterator[tuple[str, int, str]]:
    for table in ASKED:
        if table in rows:
            names = columns_of(db, table)
            place = names.index("id")
            for row in rows[table]:
                yield table, row[place], json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False)


def columns_of(db: Connection, table: str) -> list[str]:
    """The columns of a table in order."""
    return [row[1] for row in db.execute(f"PRAGMA table_info({table})")]


def unpacked(body: bytes) -> dict[str, list[list[Any]]]:
    """The rows of a body, bytes as bytes. Raises: ValueError, when it is none."""
    try:
        rows: dict[str, list[list[Any]]] = json.loads(zlib.decompress(body))
        for table, column in _BYTES.items():
            for row in rows.get(table, ()):
                row[column] = base64.b64decode(row[column])
    except (zlib.error, LookupError, TypeError, AttributeError) as error:
        raise ValueError(f"a body that can't be read: {error}") from None
    return rows
