"""Leaves made again from their rows, byte for byte: for the audit that compares, and the export that shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from meterlog.record.bag import ChunkLines
from meterlog.store import leaves

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meterlog.store.sqlite import Connection


TABLES = {
    "readings": "chunk",
    **{kind: kind for kind in ("job", "capture", "verdict", "event", "bench", "text", "instrument", "link", "form")},
}
"""By kind of leaf, the table of the row that it speaks of; a job's steps are several rows."""


class Leaf(NamedTuple):
    """A leaf in its commit: of which job and with which number there, of what, and its text."""

    seal: int
    place: int
    job: int | None
    number: int | None
    kind: str
    subject: int
    text: str


class Unmade(NamedTuple):
    """A leaf that its rows no longer give, and why."""

    seal: int
    place: int
    job: int | None
    number: int | None
    kind: str
    subject: int
    why: str


_LEAF_COLUMNS = ("seal", "place", "job", "number", "kind", "subject")


class Leaves:
    """Makes the leaves of a record again; with `shows_chunks` the lines under a chunk's leaf stay in `shown`."""

    def __init__(self, db: Connection, *, shows_chunks: bool = False) -> None:
        self._db = db
        self.shown: dict[int, ChunkLines] | None = {} if shows_chunks else None
        self.forms = {row["id"]: leaves.form_digest(row) for row in db.execute("SELECT * FROM form")}
        self.refs: dict[int, str] = dict(db.execute("SELECT id, ref FROM job").fetchall())
        rows = db.execute("SELECT l.*, i.name, i.profile, i.facts FROM link l JOIN instrument i ON i.id = l.instrument")
        self._links = {row["id"]: dict(row) for row in rows}

    def of_seal(self, number: int) -> Iterator[Leaf | Unmade]:
        """The leaves of one commit, in their places."""
        return map(self._made, self._db.execute("SELECT * FROM leaf WHERE seal = ? ORDER BY place", [number]))

    def _made(self, row: Mapping[str, Any]) -> Leaf | Unmade:
        seal, place, job, number, kind, subject = (row[name] for name in _LEAF_COLUMNS)
        try:
            return Leaf(seal, place, job, number, kind, subject, self._text(kind, subject, job, number))
        except (KeyError, ValueError) as error:
            return Unmade(seal, place, job, number, kind, subject, str(error.args[0] if error.args else error))

    def _text(self, kind: str, subject: int, job: int | None, number: int | None) -> str:
        where = leaves.where(self.refs.get(job) if job is not None else None, number)
        if kind == "steps":
            steps = self._db.execute("SELECT * FROM step WHERE job = ? ORDER BY position", [subject])
            return leaves.steps_leaf(subject, map(dict, steps), where)
        if kind not in TABLES:
            raise ValueError("there is no such kind")
        row = self._row(TABLES[kind], subject)
        if row.get("job", job) != job:
            raise ValueError("it was moved to another job")
        if kind in leaves.PLAIN:
            return leaves.PLAIN[kind](row)
        if kind == "readings":
            return self._chunk(row, where)
        return leaves.row_leaf(kind, {**row, "form_digest": self.forms.get(row.get("form", 0), "")}, where)

    def _chunk(self, row: Mapping[str, Any], where: leaves.LeafOwner) -> str:
        readings = self._readings(row)
        if any(reading[1] != row["id"] for reading in readings):
            raise ValueError("a reading was moved to another chunk")
        read = leaves.readings_lines(readings, self.forms)
        rest = leaves.rest_lines(self._rows_of("unread", row["id"]), self._rows_of("sent", row["id"]))
        if self.shown is not None:
            self.shown[row["id"]] = ChunkLines(chunk=row["id"], raw=bytes(row["raw"]), readings=read, rest=rest)
        digests = leaves.lines_digest(read), leaves.lines_digest(rest)
        return leaves.chunk_leaf(row, self._links[row["link"]], *digests, where)

    def _readings(self, chunk: Mapping[str, Any]) -> list[tuple[Any, ...]]:
        """The reading rows of a chunk's range of ids, in order."""
        first, last = chunk["first_reading"], chunk["first_reading"] + chunk["readings"] - 1
        rows = self._db.execute("SELECT * FROM reading WHERE id BETWEEN ? AND ? ORDER BY id", [first, last])
        return [tuple(row) for row in rows]

    def _rows_of(self, table: str, chunk: int) -> list[tuple[Any, ...]]:
        """The `unread` or `sent` rows of a chunk, in order."""
        return [tuple(row) for row in self._db.execute(f"SELECT * FROM {table} WHERE chunk = ? ORDER BY id", [chunk])]

    def _row(self, table: str, number: int) -> dict[str, Any]:
        row = self._db.execute(f"SELECT * FROM {table} WHERE id = ?", [number]).fetchone()
        if row is None:
            raise KeyError(f"no such row in {table}")
        return dict(row)
