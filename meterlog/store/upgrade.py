"""A record kept before every row had a leaf of its own: what its rows are is sealed once, as they stand then."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.store.sqlite import Connection

PLAIN_KINDS = ("bench", "text", "instrument", "link", "form")


def is_sealed_whole(db: Connection) -> bool:
    """Whether the bench's identity is under a seal: from that commit on, every row is."""
    return db.execute("SELECT 1 FROM leaf WHERE kind = 'bench' LIMIT 1").fetchone() is not None


def plain_rows(db: Connection) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row that belongs to no job, by its kind."""
    for kind in PLAIN_KINDS:
        cursor = db.execute(f"SELECT * FROM {kind} ORDER BY id")
        names = [column[0] for column in cursor.description]
        for row in cursor:
            yield kind, dict(zip(names, row, strict=True))


def job_rows(db: Connection) -> list[tuple[int, str, list[dict[str, Any]], list[str]]]:
    """(id, reference, steps, digests of the personal fields that are there) of every job."""
    cursor = db.execute("SELECT * FROM step ORDER BY job, position")
    names = [column[0] for column in cursor.description]
    steps: dict[int, list[dict[str, Any]]] = {}
    for row in cursor:
        step = dict(zip(names, row, strict=True))
        steps.setdefault(step["job"], []).append(step)
    digests: dict[int, list[str]] = {}
    for job, digest in db.execute("SELECT job, digest FROM disclosure ORDER BY digest"):
        digests.setdefault(job, []).append(digest)
    jobs = db.execute("SELECT id, ref FROM job ORDER BY id").fetchall()
    return [(job, ref, steps.get(job, []), digests.get(job, [])) for job, ref in jobs]
