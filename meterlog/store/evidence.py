"""Evidence made again: every leaf from its rows, every root and link of the chain, every digest.

A changed bit anywhere in a kept row shows as a finding that names the seal whose commit it was in.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from meterlog.base.seals import NO_SEAL, Seal, digest, merkle_root, read_line
from meterlog.base.source import text_sha256
from meterlog.record.acts import ActKind
from meterlog.record.auditor import Finding
from meterlog.store import leaves

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from meterlog.store.sqlite import Connection


def check_seals(db: Connection, progress: Callable[[int], None] = lambda _: None) -> Iterator[Finding]:
    """Findings on the chain: holes, broken links, roots that the rows no longer give, leaves left out."""
    bench = db.execute("SELECT identity FROM bench").fetchone()[0]
    forms = {row["id"]: leaves.form_digest(row) for row in db.execute("SELECT * FROM form")}
    refs = dict(db.execute("SELECT id, ref FROM job").fetchall())
    links = _link_rows(db)
    previous, expected, numbers = NO_SEAL, 0, dict.fromkeys(refs, 0)
    for row in db.execute("SELECT number, line, acts FROM seal ORDER BY number"):
        where = f"seal {row['number']}"
        try:
            seal = read_line(row["line"])
        except ValueError as error:
            yield Finding(where=where, what=str(error))
            return
        yield from _check_header(seal, row, bench, previous, expected, where)
        yield from _check_leaves(db, seal, forms, refs, links, numbers, where)
        previous, expected = seal.hash, seal.number + 1
        progress(seal.number)
    yield from _unsealed(db)


def _check_header(
    seal: Seal, row: Mapping[str, Any], bench: str, previous: str, expected: int, where: str
) -> Iterator[Finding]:
    if (seal.number, row["number"]) != (expected, expected):
        yield Finding(where=where, what=f"expected seal {expected}: one or more are missing")
    if seal.previous != previous:
        yield Finding(where=where, what="does not continue the seal before it")
    if seal.bench != bench:
        yield Finding(where=where, what="belongs to another bench")
    if seal.acts != row["acts"]:
        yield Finding(where=where, what=f"counts {seal.acts} acts, its row says {row['acts']}")


def _check_leaves(
    db: Connection, seal: Seal, forms: Mapping[int, str], refs: Mapping[int, str], links: Mapping[int, Any],
    numbers: dict[int, int], where: str,
) -> Iterator[Finding]:  # fmt: skip
    texts: list[bytes] = []
    for leaf in db.execute("SELECT * FROM leaf WHERE seal = ? ORDER BY place", [seal.number]):
        job, number = leaf["job"], leaf["number"]
        if job is not None:
            if number != numbers[job]:
                yield Finding(where=where, what=f"leaf {number} of job {refs[job]}, expected {numbers[job]}")
            numbers[job] = (number or 0) + 1
        try:
            row = _one(db, "chunk" if leaf["kind"] == "readings" else leaf["kind"], leaf["subject"])
            if row.get("job", job) != job:
                raise ValueError("it was moved to another job")
            text = _leaf_again(db, leaf["kind"], row, forms, links, leaves.where(refs.get(job), number))
        except (KeyError, ValueError) as error:
            yield Finding(where=where, what=f"the {leaf['kind']} row {leaf['subject']} can't be read: {error}")
            continue
        texts.append(text.encode())
    if len(texts) != seal.leaves:
        yield Finding(where=where, what=f"sealed {seal.leaves} leaves, {len(texts)} are there")
    elif merkle_root(texts).hex() != seal.root:
        kinds = db.execute("SELECT kind, subject FROM leaf WHERE seal = ? ORDER BY place", [seal.number]).fetchall()
        rows = ", ".join(f"{kind} {subject}" for kind, subject in kinds)
        yield Finding(where=where, what=f"its rows were changed (one or more of: {rows})")


def _leaf_again(
    db: Connection, kind: str, row: Mapping[str, Any], forms: Mapping[int, str], links: Mapping[int, Any],
    where: leaves.Where,
) -> str:  # fmt: skip
    if kind != "readings":
        return leaves.row_leaf(kind, {**row, "form_digest": forms.get(row.get("form", 0), "")}, where)
    first, last = row["first_reading"], row["first_reading"] + row["readings"] - 1
    rows = db.execute("SELECT * FROM reading WHERE id BETWEEN ? AND ? ORDER BY id", [first, last]).fetchall()
    if any(reading["chunk"] != row["id"] for reading in rows):
        raise ValueError("a reading was moved to another chunk")
    read = leaves.readings_digest([tuple(row) for row in rows], forms)
    rest = leaves.rest_digest(_rows_of(db, "unread", row["id"]), _rows_of(db, "sent", row["id"]))
    return leaves.chunk_leaf(row, links[row["link"]], read, rest, where)


def _one(db: Connection, table: str, number: int) -> dict[str, Any]:
    row = db.execute(f"SELECT * FROM {table} WHERE id = ?", [number]).fetchone()
    if row is None:
        raise KeyError(f"no such row in {table}")
    return dict(row)


def _rows_of(db: Connection, table: str, chunk: int) -> list[tuple[Any, ...]]:
    return [tuple(row) for row in db.execute(f"SELECT * FROM {table} WHERE chunk = ? ORDER BY id", [chunk])]


def _link_rows(db: Connection) -> dict[int, dict[str, Any]]:
    rows = db.execute("SELECT l.*, i.name, i.profile, i.facts FROM link l JOIN instrument i ON i.id = l.instrument")
    return {row["id"]: dict(row) for row in rows}


def _unsealed(db: Connection) -> Iterator[Finding]:
    """Rows that no leaf speaks of: put in by another program."""
    for table, kind in (
        ("chunk", "readings"),
        ("job", "job"),
        ("capture", "capture"),
        ("verdict", "verdict"),
        ("event", "event"),
    ):
        count = db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        sealed = db.execute("SELECT count(*) FROM leaf WHERE kind = ?", [kind]).fetchone()[0]
        if count != sealed:
            yield Finding(where=table, what=f"{count} rows, {sealed} sealed")
    in_chunks = db.execute("SELECT coalesce(sum(readings), 0) FROM chunk").fetchone()[0]
    readings = db.execute("SELECT count(*) FROM reading").fetchone()[0]
    if in_chunks != readings:
        yield Finding(where="reading", what=f"{readings} rows, {in_chunks} sealed")


def check_rereads(db: Connection) -> Iterator[Finding]:
    """Findings on readings by another profile: their sealed event holds how many there are, and their digest."""
    forms = {row["id"]: leaves.form_digest(row) for row in db.execute("SELECT * FROM form")}
    sealed = 0
    for event in db.execute("SELECT id, facts FROM event WHERE kind = ? ORDER BY id", [ActKind.READ_AGAIN]).fetchall():
        rows = [tuple(row) for row in db.execute("SELECT * FROM reread WHERE event = ? ORDER BY id", [event["id"]])]
        facts = json.loads(event["facts"])
        sealed += len(rows)
        if (len(rows), leaves.reread_digest(rows, forms)) != (facts["count"], facts["digest"]):
            yield Finding(where=f"event {event['id']}", what="its reread rows were changed")
    count = db.execute("SELECT count(*) FROM reread").fetchone()[0]
    if count != sealed:
        yield Finding(where="reread", what=f"{count} rows, {sealed} sealed")


def check_texts(db: Connection) -> Iterator[Finding]:
    """Findings on texts whose bytes no longer give their hash, and on personal fields that do not fit theirs."""
    for row in db.execute("SELECT sha256, name, body FROM text"):
        if text_sha256(row["body"]) != row["sha256"]:
            yield Finding(where=f"text {row['name']}", what="its bytes do not give its hash")
    for row in db.execute("SELECT * FROM disclosure"):
        value = row["value"] if row["content"] is None else f"{row['value']}\x00{leaves.sha256(row['content'])}"
        if digest(row["salt"], row["name"], value) != row["digest"]:
            yield Finding(where=f"personal field {row['name']}", what="does not fit the digest in the record")


def check_file(db: Connection) -> Iterator[Finding]:
    """Findings of SQLite's own checks, and on the table that views take the place of the point from."""
    for row in db.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            yield Finding(where="file", what=row[0])
    for row in db.execute("PRAGMA foreign_key_check"):
        yield Finding(where=f"{row[0]} {row[1]}", what=f"points at a row of {row[2]} that is not there")
    if [tuple(row) for row in db.execute("SELECT * FROM power_of_ten")] != [(n, 10**n) for n in range(16)]:
        yield Finding(where="power_of_ten", what="its powers were changed: what the views show is not what was shown")
