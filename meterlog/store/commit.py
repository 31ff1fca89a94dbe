"""One commit: the batch's leaves in their places, their texts, and the rows written with their seal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from meterlog.store import leaves

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.base.seals import Seal
    from meterlog.store.batch import Batch
    from meterlog.store.sqlite import Connection


class Placed(NamedTuple):
    """A leaf in its commit and, where it has one, in its job."""

    place: int
    job: int | None
    number: int | None
    kind: str
    subject: int


def place_leaves(batch: Batch, counted: Mapping[int, int]) -> tuple[list[Placed], dict[int, int]]:
    """Number the batch's leaves; `counted` holds how many each job has already, and is answered anew."""
    after = dict(counted)
    placed = []
    for place, (kind, job, subject) in enumerate(batch.leaves):
        number = None
        if job is not None:
            number = after.get(job, 0)
            after[job] = number + 1
        placed.append(Placed(place, job, number, kind, subject))
    return placed, after


def leaf_texts(
    batch: Batch, placed: Sequence[Placed], refs: Mapping[int, str], links: Mapping[int, Any], forms: Mapping[int, str]
) -> list[str]:
    """The texts of a batch's leaves, in order."""
    rows = {(kind, row["id"]): row for kind, row in (*batch.late, *batch.plain, *batch.rows)}
    steps: dict[int, list[dict[str, Any]]] = {}
    for kind, row in (*batch.late, *batch.rows):
        if kind == "step":
            steps.setdefault(row["job"], []).append(row)
    texts = []
    for leaf in placed:
        where = leaves.where(refs[leaf.job] if leaf.job is not None else None, leaf.number)
        if leaf.kind == "readings":
            chunk = batch.chunks[leaf.subject]
            read = leaves.readings_digest(chunk.readings, forms)
            rest = leaves.rest_digest(chunk.unread, chunk.sent)
            texts.append(leaves.chunk_leaf(chunk.row, links[chunk.link], read, rest, where))
        elif leaf.kind in leaves.PLAIN:
            texts.append(leaves.PLAIN[leaf.kind](rows[leaf.kind, leaf.subject]))
        elif leaf.kind == "steps":
            texts.append(leaves.steps_leaf(leaf.subject, steps[leaf.subject], where))
        else:
            texts.append(leaves.row_leaf(leaf.kind, rows[leaf.kind, leaf.subject], where))
    return texts


def write_commit(db: Connection, batch: Batch, seal: Seal, placed: Sequence[Placed]) -> None:
    """Write a batch with its seal; the caller holds the transaction."""
    many = db.executemany
    _insert(db, batch.plain, ("bench", "text", "instrument", "link", "form"))
    db.execute("INSERT INTO seal VALUES (?, ?, ?)", (seal.number, seal.line, seal.acts))
    _insert(db, batch.rows, ("job", "step"))
    for chunk in batch.chunks.values():
        db.execute("INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", tuple(chunk.row.values()))
        many("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?)", chunk.readings)
        many("INSERT INTO unread VALUES (?, ?, ?, ?, ?, ?, ?)", chunk.unread)
        many("INSERT INTO sent VALUES (?, ?, ?, ?, ?)", chunk.sent)
    _insert(db, batch.rows, ("capture", "verdict", "event"))
    many("INSERT INTO reread VALUES (?, ?, ?, ?, ?, ?, ?)", batch.rereads)
    many("INSERT INTO leaf VALUES (?, ?, ?, ?, ?, ?)", [(seal.number, *leaf) for leaf in placed])
    many("INSERT INTO disclosure VALUES (?, ?, ?, ?, ?, ?)", batch.disclosures)
    many("DELETE FROM disclosure WHERE digest = ?", [(erased,) for erased in batch.erasures])


def _insert(db: Connection, rows: Sequence[tuple[str, dict[str, Any]]], tables: Sequence[str]) -> None:
    """Insert the rows of some tables, table by table."""
    for table in tables:
        for kind, row in rows:
            if kind == table:
                kept = {name: value for name, value in row.items() if name != "form_digest"}
                marks = ", ".join(f":{name}" for name in kept)
                db.execute(f"INSERT INTO {table} ({', '.join(kept)}) VALUES ({marks})", kept)
