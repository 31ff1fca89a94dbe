"""The whole audit of a database: its file, its seals, its texts, and everything reached again."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from meterlog.record.auditor import Finding, as_far_as_it_goes, reached_again
from meterlog.record.head import differs_from, tree_of
from meterlog.store import evidence
from meterlog.store.reader import BENCH_IN_LINE, StoredRecord

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meterlog.record.head import Head
    from meterlog.store.sqlite import Connection


STORED = (
    evidence.check_file, evidence.check_schema, evidence.check_seals, evidence.check_rereads, evidence.check_texts,
    evidence.check_words, evidence.check_personal,
)  # fmt: skip
"""What can be said of the rows without decoding or judging anything."""


class RowsChecked(NamedTuple):
    """How many rows of each table were looked at, and of which layout the database is."""

    seal: int
    reading: int
    capture: int
    verdict: int
    layout: int


def audit(db: Connection) -> Iterator[Finding]:
    """Everything that differs from what was sealed, decoded, captured or concluded."""
    for check in STORED:
        yield from as_far_as_it_goes(check.__name__.removeprefix("check_"), check(db))
    yield from as_far_as_it_goes("rows", reached_again(StoredRecord(db)))


def check_head(db: Connection, earlier: Head) -> Iterator[Finding]:
    """A finding when the record does not begin as it did when an earlier head was made of it."""
    reader = StoredRecord(db)
    differs = differs_from(earlier, reader.identities(), tree_of(reader.seals()))
    if differs:
        yield Finding(where="record", what=differs)


def must_begin_with(db: Connection, printed: Sequence[Head]) -> list[Head]:
    """Those of printed heads that this record must begin with.

    A restored copy goes on under another identity, and need not have what the original came to after it was made.
    """
    rows = db.execute(f"SELECT {BENCH_IN_LINE} AS bench, max(z.number) + 1 AS size FROM seal z GROUP BY 1").fetchall()
    ends = {row["bench"]: row["size"] for row in rows}
    now = StoredRecord(db).identities()[-1:]
    return [head for head in printed if head.bench in now or head.size <= ends.get(head.bench, 0)]


def checked(db: Connection) -> RowsChecked:
    """The counts of what an audit looks at."""
    rows = {table: db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in RowsChecked._fields[:-1]}
    return RowsChecked(**rows, layout=db.execute("PRAGMA user_version").fetchone()[0])
