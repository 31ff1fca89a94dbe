"""Leaves made again from their rows, byte for byte: for the audit that compares, and the export that shows them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from meterlog.base.seals import lines_digest
from meterlog.record.bag import ChunkLines
from meterlog.store import leaves
from meterlog.store.rows import AT_ONCE, TABLES, RowsUnder

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from meterlog.store.sqlite import Connection


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


class Leaves:
    """Makes the leaves of a record again; with `shows_chunks` the lines under a chunk's leaf stay in `shown`."""

    def __init__(self, db: Connection, *, shows_chunks: bool = False) -> None:
        self._db = db
        self.shown: dict[int, ChunkLines] | None = {} if shows_chunks else None
        self.forms = {row["id"]: leaves.form_digest(row) for row in db.execute("SELECT * FROM form")}
        self.refs: dict[int, str] = dict(db.execute("SELECT id, ref FROM job").fetchall())
        rows = db.execute("SELECT l.*, i.name, i.profile, i.facts FROM link l JOIN instrument i ON i.id = l.instrument")
        self._links = {row["id"]: dict(row) for row in rows}

    def of_seals(self, numbers: Sequence[int]) -> Iterator[tuple[int, list[Leaf | Unmade]]]:
        """Each commit of these numbers with its leaves, in their places."""
        for first in range(0, len(numbers), AT_ONCE):
            at_once = numbers[first : first + AT_ONCE]
            under = RowsUnder(self._db, at_once)
            for number in at_once:
                yield number, [self._made(under, row) for row in under.leaves.get(number, ())]

    def _made(self, under: RowsUnder, row: Any) -> Leaf | Unmade:
        seal, place, job, number, kind, subject = row
        try:
            text = self._text(under, kind, subject, job, leaves.where(self.refs.get(job), number))
            return Leaf(seal, place, job, number, kind, subject, text)
        except (KeyError, ValueError) as error:
            return Unmade(seal, place, job, number, kind, subject, str(error.args[0] if error.args else error))

    def _text(self, under: RowsUnder, kind: str, subject: int, job: int | None, where: leaves.LeafOwner) -> str:
        if kind == "steps":
            return leaves.steps_leaf(subject, map(dict, under.steps.get(subject, ())), where)
        if kind not in TABLES:
            raise ValueError("there is no such kind")
        if (TABLES[kind], subject) not in under.rows:
            raise KeyError(f"no such row in {TABLES[kind]}")
        row = dict(under.rows[TABLES[kind], subject])
        if row.get("job", job) != job:
            raise ValueError("it was moved to another job")
        if kind in leaves.PLAIN:
            return leaves.PLAIN[kind](row)
        if kind == "readings":
            return self._chunk(under, row, where)
        return leaves.row_leaf(kind, {**row, "form_digest": self.forms.get(row.get("form", 0), "")}, where)

    def _chunk(self, under: RowsUnder, row: Mapping[str, Any], where: leaves.LeafOwner) -> str:
        chunk = row["id"]
        readings = under.readings.get(chunk, ())
        if any(reading[1] != chunk for reading in readings):
            raise ValueError("a reading was moved to another chunk")
        read = leaves.readings_lines(readings, self.forms)
        rest = leaves.rest_lines(under.unread.get(chunk, ()), under.sent.get(chunk, ()))
        if self.shown is not None:
            self.shown[chunk] = ChunkLines(chunk=chunk, raw=bytes(row["raw"]), readings=read, rest=rest)
        digests = lines_digest(read), lines_digest(rest)
        return leaves.chunk_leaf(row, self._links[row["link"]], *digests, where)
