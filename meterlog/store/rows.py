"""The rows under some commits, read with one query a table: for the audit, the evidence file and the sender."""

from __future__ import annotations

import json
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from meterlog.record.acts import ActKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meterlog.store.sqlite import Connection

TABLES = {
    "readings": "chunk",
    **{kind: kind for kind in ("job", "capture", "verdict", "event", "bench", "text", "instrument", "link", "form")},
}
"""By kind of leaf, the table of the row that it speaks of; a job's steps are several rows."""

AT_ONCE = 500
"""Commits that are worth reading in one pass: their rows are in memory together."""

_IDS = "(SELECT value FROM json_each(?))"
_READINGS = (
    "SELECT r.*, c.id FROM chunk c CROSS JOIN reading r ON r.id BETWEEN c.first_reading "
    f"AND c.first_reading + c.readings - 1 WHERE c.id IN {_IDS} ORDER BY c.id, r.id"
)


class RowsUnder:
    """The rows under the commits of these numbers; a row that a leaf speaks of and that is gone is not among them.

    Attributes:
        leaves: by commit, its leaf rows (seal, place, job, number, kind, subject) in their places.
        rows: by table and id, the rows that leaves speak of.
        steps: by job, in order. rereads: by event, readings by another profile.
        readings: by chunk, in order, those of its range of ids; their last column is that chunk, whichever they name.
        unread, sent: by chunk, in order.
    """

    def __init__(self, db: Connection, numbers: Sequence[int]) -> None:
        def under(sql: str, ids: Iterable[int]) -> list[Any]:
            wanted = list(ids)
            cursor = db.cursor()
            if sql is _READINGS:
                cursor.row_factory = None  # plain tuples: there are thousands
            return cursor.execute(sql, [json.dumps(wanted)]).fetchall() if wanted else []

        self.leaves = _by(0, under(f"SELECT * FROM leaf WHERE seal IN {_IDS} ORDER BY seal, place", numbers))
        subjects: dict[str, list[int]] = defaultdict(list)
        for leaves in self.leaves.values():
            for leaf in leaves:
                subjects[leaf[4]].append(leaf[5])
        self.rows: dict[tuple[str, int], Any] = {}
        for kind, table in TABLES.items():
            for row in under(f"SELECT * FROM {table} WHERE id IN {_IDS}", subjects[kind]):
                self.rows[table, row["id"]] = row
        self.steps = _by(1, under(f"SELECT * FROM step WHERE job IN {_IDS} ORDER BY position", subjects["steps"]))
        again = (event for event in subjects["event"] if self._is_read_again(event))
        self.rereads = _by(1, under(f"SELECT * FROM reread WHERE event IN {_IDS} ORDER BY id", again))
        chunks = subjects["readings"]
        self.readings = _by(-1, under(_READINGS, chunks))
        self.unread = _by(1, under(f"SELECT * FROM unread WHERE chunk IN {_IDS} ORDER BY id", chunks))
        self.sent = _by(1, under(f"SELECT * FROM sent WHERE chunk IN {_IDS} ORDER BY id", chunks))

    def _is_read_again(self, event: int) -> bool:
        row = self.rows.get(("event", event))
        return row is not None and row["kind"] == ActKind.READ_AGAIN


def _by(column: int, rows: Sequence[Any]) -> Mapping[int, list[Any]]:
    """Rows by one of their columns, in the order in which they come."""
    grouped: dict[int, list[Any]] = {}
    for row in rows:
        grouped.setdefault(row[column], []).append(row)
    return grouped
