"""Evidence made again: every leaf from its rows, every root and link of the chain, every digest.

A changed bit anywhere in a kept row shows as a finding that names the seal whose commit it was in.
"""

from __future__ import annotations

import contextlib
import json
from typing import TYPE_CHECKING, Any

from meterlog.base.merkle import merkle_root
from meterlog.base.seals import NO_SEAL, Seal, digest, read_line, with_content
from meterlog.base.source import text_sha256
from meterlog.record.acts import ActKind
from meterlog.record.auditor import Finding
from meterlog.store import leaves
from meterlog.store.layout import SCHEMA, schema_of
from meterlog.store.rows import TABLES
from meterlog.store.sealed import Leaf, Leaves, Unmade
from meterlog.store.sqlite import open_in_memory
from meterlog.store.upgrade import PLAIN_KINDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from meterlog.store.sqlite import Connection

NAMED = 20
"""Stray rows of a kind that are named one by one."""


def check_seals(db: Connection) -> Iterator[Finding]:
    """Findings on the chain: holes, broken links, roots that the rows no longer give, rows that no leaf speaks of."""
    benches = [dict(row) for row in db.execute("SELECT * FROM bench ORDER BY rowid")]
    if not benches:
        yield Finding(where="bench", what="no identity is kept")
    made = Leaves(db)
    previous, expected, numbers = NO_SEAL, 0, dict.fromkeys(made.refs, 0)
    rows = db.execute("SELECT number, line, acts FROM seal ORDER BY number").fetchall()
    again = made.of_seals([row["number"] for row in rows])
    for row, (number, found) in zip(rows, again, strict=True):
        where = f"seal {number}"
        try:
            seal = read_line(row["line"])
        except ValueError as error:
            yield Finding(where=where, what=str(error))
            return
        yield from _check_header(seal, row, benches, previous, expected, where)
        yield from _check_leaves(made, seal, found, numbers, where)
        previous, expected = seal.hash, seal.number + 1
    for row in db.execute("SELECT seal, place FROM leaf WHERE seal >= ? OR seal < 0", [expected]):
        yield Finding(where=f"leaf {row['place']} of seal {row['seal']}", what="its seal is not there")
    if expected:
        yield from _unsealed(db)


def _check_header(
    seal: Seal, row: Mapping[str, Any], benches: Sequence[Mapping[str, Any]], previous: str, expected: int, where: str
) -> Iterator[Finding]:
    if (seal.number, row["number"]) != (expected, expected):
        yield Finding(where=where, what=f"expected seal {expected}: one or more are missing")
    if seal.previous != previous:
        yield Finding(where=where, what="does not continue the seal before it")
    known = [bench["identity"] for bench in benches if bench.get("first_seal", 0) <= seal.number]
    if known[-1:] != [seal.bench]:
        yield Finding(where=where, what="belongs to another bench")
    if seal.acts != row["acts"]:
        yield Finding(where=where, what=f"counts {seal.acts} acts, its row says {row['acts']}")


def _check_leaves(
    made: Leaves, seal: Seal, found: Sequence[Leaf | Unmade], numbers: dict[int, int], where: str
) -> Iterator[Finding]:
    texts: list[bytes] = []
    rows: list[str] = []
    for place, leaf in enumerate(found):
        if leaf.place != place or (leaf.job is None) != (leaf.number is None):
            yield Finding(where=where, what=f"the place of {leaf.kind} {leaf.subject} was changed")
        if leaf.job is not None:
            expected = numbers.get(leaf.job, 0)
            if leaf.number != expected:
                job = made.refs.get(leaf.job, leaf.job)
                yield Finding(where=where, what=f"leaf {leaf.number} of job {job}, expected {expected}")
            numbers[leaf.job] = (leaf.number or 0) + 1
        if isinstance(leaf, Unmade):
            yield Finding(where=where, what=f"{leaf.kind} {leaf.subject} can't be made again: {leaf.why}")
            continue
        texts.append(leaf.text.encode())
        rows.append(f"{leaf.kind} {leaf.subject}")
    if len(texts) != seal.leaves:
        yield Finding(where=where, what=f"sealed {seal.leaves} leaves, {len(texts)} are there")
    elif merkle_root(texts).hex() != seal.root:
        yield Finding(where=where, what=f"its rows were changed (one or more of: {', '.join(rows)})")


def _unsealed(db: Connection) -> Iterator[Finding]:
    """Rows that no leaf speaks of: put in by another program."""
    kinds = {**TABLES, "steps": "job"}
    if db.execute("PRAGMA user_version").fetchone()[0] == 1:
        kinds = {kind: table for kind, table in TABLES.items() if kind not in PLAIN_KINDS}
    for kind, table in kinds.items():
        sealed = f"SELECT subject FROM leaf WHERE kind = '{kind}'"
        for row in db.execute(f"SELECT id FROM {table} WHERE id NOT IN ({sealed}) OR id IS NULL LIMIT {NAMED}"):
            yield Finding(where=f"{table} {row['id']}", what="is under no seal")
    for row in db.execute(f"SELECT id FROM step WHERE job NOT IN (SELECT id FROM job) LIMIT {NAMED}"):
        yield Finding(where=f"step {row['id']}", what="belongs to no job")
    for table in ("unread", "sent"):
        for row in db.execute(f"SELECT id FROM {table} WHERE chunk NOT IN (SELECT id FROM chunk) LIMIT {NAMED}"):
            yield Finding(where=f"{table} {row['id']}", what="is under no seal")
    in_chunks = db.execute("SELECT coalesce(sum(readings), 0) FROM chunk").fetchone()[0]
    readings = db.execute("SELECT count(*) FROM reading").fetchone()[0]
    if in_chunks != readings:
        yield Finding(where="reading", what=f"{readings} rows, {in_chunks} sealed")
        stray = "c.id IS NULL OR r.id NOT BETWEEN c.first_reading AND c.first_reading + c.readings - 1"
        sql = f"SELECT r.id FROM reading r LEFT JOIN chunk c ON c.id = r.chunk WHERE {stray} LIMIT {NAMED}"
        for row in db.execute(sql):
            yield Finding(where=f"reading {row['id']}", what="is under no seal")


def check_rereads(db: Connection) -> Iterator[Finding]:
    """Findings on readings by another profile: their sealed event holds how many there are, and their digest."""
    forms = {row["id"]: leaves.form_digest(row) for row in db.execute("SELECT * FROM form")}
    known = []
    for event in db.execute("SELECT id, facts FROM event WHERE kind = ? ORDER BY id", [ActKind.READ_AGAIN]).fetchall():
        known.append(event["id"])
        rows = [tuple(row) for row in db.execute("SELECT * FROM reread WHERE event = ? ORDER BY id", [event["id"]])]
        facts = json.loads(event["facts"])
        if (len(rows), leaves.reread_digest(rows, forms)) != (facts["count"], facts["digest"]):
            yield Finding(where=f"event {event['id']}", what="its reread rows were changed")
    others = f"SELECT id FROM reread WHERE event NOT IN ({', '.join('?' * len(known))}) LIMIT {NAMED}"
    for row in db.execute(others, known):
        yield Finding(where=f"reread {row['id']}", what="is under no seal")


def check_texts(db: Connection) -> Iterator[Finding]:
    """Findings on texts whose bytes no longer give their hash."""
    for row in db.execute("SELECT sha256, name, body FROM text"):
        if text_sha256(row["body"]) != row["sha256"]:
            yield Finding(where=f"text {row['name']}", what="its bytes do not give its hash")


def check_personal(db: Connection) -> Iterator[Finding]:
    """Findings on personal fields: each fits its digest, that digest is sealed in its job, none is gone without an act.

    Jobs of a record's first layout seal decoys that were never kept: of those, what was there at the upgrade counts.
    """
    sealed, wanted = _sealed_digests(db)
    kept = set()
    for row in db.execute("SELECT * FROM disclosure"):
        where = f"personal field {row['name'] or 'decoy'} ({row['digest'][:8]})"
        kept.add(row["digest"])
        if digest(row["salt"], row["name"], with_content(row["value"], row["content"])) != row["digest"]:
            yield Finding(where=where, what="does not fit the digest in the record")
        if (row["job"], row["digest"]) not in sealed:
            yield Finding(where=where, what="stands in no act and no job of the record")
    for job, missing in sorted((job, each) for each, job in wanted.items() if each not in kept):
        yield Finding(where=f"personal field {missing[:8]} of job {job}", what="is gone, and no act erased it")


def _sealed_digests(db: Connection) -> tuple[set[tuple[int, str]], dict[str, int]]:
    """(job, digest) pairs that are sealed; and by digest the job of those that no act erased."""
    whole = db.execute("SELECT min(seal) FROM leaf WHERE kind = 'bench'").fetchone()[0]
    since = {row[0] for row in db.execute("SELECT subject FROM leaf WHERE kind = 'job' AND seal >= ?", [whole])}
    sealed: set[tuple[int, str]] = set()
    wanted: dict[str, int] = {}
    for row in db.execute("SELECT id, digests FROM job"):
        digests = json.loads(row["digests"])
        sealed |= {(row["id"], each) for each in digests}
        if row["id"] in since:
            wanted |= dict.fromkeys(digests, row["id"])
    sql = "SELECT job, kind, facts FROM event WHERE job IS NOT NULL AND kind IN (?, ?, ?, ?) ORDER BY id"
    kinds = [ActKind.NOTED, ActKind.PHOTOGRAPH, ActKind.PERSONAL_FIELDS, ActKind.ERASED]
    for row in db.execute(sql, kinds):
        facts = json.loads(row["facts"])
        if row["kind"] == ActKind.ERASED:
            erased = {each for each in facts["digests"] if wanted.get(each) == row["job"]}
            wanted = {each: job for each, job in wanted.items() if each not in erased}
            continue
        digests = facts["digests"] if row["kind"] == ActKind.PERSONAL_FIELDS else [*_named(facts)]
        sealed |= {(row["job"], each) for each in digests}
        wanted |= dict.fromkeys(digests, row["job"])
    return sealed, wanted


def _named(facts: Mapping[str, Any]) -> Iterator[str]:
    """The digests that a note's or photograph's act names."""
    return (facts[name] for name in ("note", "photograph") if name in facts)


def check_file(db: Connection) -> Iterator[Finding]:
    """Findings of SQLite's own checks, and on the table that views take the place of the point from."""
    for row in db.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            yield Finding(where="file", what=row[0])
    for row in db.execute("PRAGMA foreign_key_check"):
        yield Finding(where=f"{row[0]} {row[1]}", what=f"points at a row of {row[2]} that is not there")
    if [tuple(row) for row in db.execute("SELECT * FROM power_of_ten")] != [(n, 10**n) for n in range(16)]:
        yield Finding(where="power_of_ten", what="its powers were changed: what the views show is not what was shown")


def check_words(db: Connection) -> Iterator[Finding]:
    """Findings on the words that jobs are found by: those of their rows, each where it stands, and no others."""
    instances = "SELECT term, doc, col, offset FROM temp.instances"
    with contextlib.closing(open_in_memory()) as anew:
        anew.execute("CREATE VIRTUAL TABLE job_words USING fts5 (ref, appliance, plate)")
        jobs = db.execute("SELECT id, ref, appliance, plate FROM job").fetchall()
        anew.executemany("INSERT INTO job_words (rowid, ref, appliance, plate) VALUES (?, ?, ?, ?)", map(tuple, jobs))
        for each in (db, anew):
            each.execute("CREATE VIRTUAL TABLE temp.instances USING fts5vocab (main, job_words, instance)")
        kept, made = ({tuple(row) for row in each.execute(instances)} for each in (db, anew))
        db.execute("DROP TABLE temp.instances")
    for job in sorted({doc for _, doc, _, _ in kept ^ made})[:NAMED]:
        yield Finding(where=f"job {job}", what="is found by other words than its own")


def check_schema(db: Connection) -> Iterator[Finding]:
    """Findings on tables, views, triggers and indexes that are not as this program makes them for that layout."""
    layout = db.execute("PRAGMA user_version").fetchone()[0]
    made, kept = schema_of(layout), {(row[0], row[1]): row[2] for row in db.execute(SCHEMA)}
    for kind, name in sorted({*made, *kept}):
        if (kind, name) not in kept:
            yield Finding(where=f"{kind} {name}", what="is gone")
        elif (kind, name) not in made:
            yield Finding(where=f"{kind} {name}", what="was put in by another program")
        elif kept[kind, name] != made[kind, name]:
            yield Finding(where=f"{kind} {name}", what="was rewritten: it is not as this program makes it")
