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

from meterlog.base.errors import CannotDo
from meterlog.base.seals import line_hash
from meterlog.store.rows import TABLES, RowsUnder

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


def packed(db: Connection, numbers: Sequence[int]) -> list[Packed]:
    """The commits of these numbers, in order. Raises: CannotDo, when rows of one are not there any more."""
    under = RowsUnder(db, numbers)
    lines = db.execute(
        "SELECT number, line, acts FROM seal WHERE number IN (SELECT value FROM json_each(?))", [json.dumps([*numbers])]
    )
    seals = {row["number"]: row for row in lines}
    columns = {table: columns_of(db, table) for table in ASKED}
    return [_packed(seals[number], rows_of(under, number), columns) for number in numbers]


def _packed(seal: Mapping[str, Any], rows: Mapping[str, list[list[Any]]], columns: Mapping[str, list[str]]) -> Packed:
    return Packed(
        number=seal["number"], hash=line_hash(seal["line"]), line=seal["line"], acts=seal["acts"], body=_body(rows),
        rows=tuple(_asked(rows, columns)),
    )  # fmt: skip


def rows_of(under: RowsUnder, number: int) -> dict[str, list[list[Any]]]:
    """Every row of a commit by table, columns in the table's order, bytes in base64.

    Raises: CannotDo, when one that a leaf speaks of is not there any more.
    """
    rows: dict[str, list[list[Any]]] = defaultdict(list)
    for leaf in under.leaves.get(number, ()):
        kind, subject = leaf[4], leaf[5]
        rows["leaf"].append([*leaf])
        if kind == "steps":
            rows["step"] += map(list, under.steps.get(subject, ()))
            continue
        row = under.rows.get((TABLES[kind], subject))
        if row is None:
            raise CannotDo(f"commit {number} can't be sent: its {kind} {subject} is gone", "look with: meterlog audit")
        rows[TABLES[kind]].append([*row])
        if kind == "readings":
            rows["reading"] += [list(row[:-1]) for row in under.readings.get(subject, ())]
            rows["unread"] += map(list, under.unread.get(subject, ()))
            rows["sent"] += map(list, under.sent.get(subject, ()))
        elif subject in under.rereads and kind == "event":
            rows["reread"] += map(list, under.rereads[subject])
    for table, column in _BYTES.items():
        for each in rows.get(table, ()):
            each[column] = base64.b64encode(each[column]).decode()
    return rows


_JSON = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False).encode
SMALL = 8_192
"""Bytes of text below which a small window is enough: setting up a full one takes longer than all else."""


def _body(rows: Mapping[str, list[list[Any]]]) -> bytes:
    text = _JSON(rows).encode()
    window, memory = (12, 4) if len(text) <= SMALL else (15, 8)
    made = zlib.compressobj(6, zlib.DEFLATED, window, memory)
    return made.compress(text) + made.flush()


def _asked(rows: Mapping[str, list[list[Any]]], columns: Mapping[str, list[str]]) -> Iterator[tuple[str, int, str]]:
    for table in rows.keys() & columns.keys():
        for row in map(as_shown, (dict(zip(columns[table], row, strict=True)) for row in rows[table])):
            yield table, row["id"], _JSON(row)


def as_shown(row: dict[str, Any]) -> dict[str, Any]:
    """A row as the server's tables can show it: without the character NUL, which its texts can't hold."""
    if any(isinstance(value, str) and "\x00" in value for value in row.values()):
        return {name: value.replace("\x00", "") if isinstance(value, str) else value for name, value in row.items()}
    return row


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
