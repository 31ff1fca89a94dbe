"""A copy of a record while it is written, and a record taken up again from a copy, under an identity of its own."""

from __future__ import annotations

import contextlib
import os
from typing import TYPE_CHECKING, NamedTuple

from meterlog.base.errors import CannotDo
from meterlog.record.head import Head, head_of
from meterlog.store import sqlite
from meterlog.store.reader import StoredRecord
from meterlog.store.writer import Writer

if TYPE_CHECKING:
    from pathlib import Path

    from meterlog.record.writer import Now


class Restored(NamedTuple):
    """What a restored record goes on as, and the head of the copy that it began with."""

    bench: str
    head: Head


def backup(database: Path, target: Path) -> Head:
    """Copy a whole record into a new file; a daemon may go on writing meanwhile. Answers the head of the copy.

    Raises: CannotDo when the target is there already or can't be written, or there is no record.
    """
    if target.exists():
        raise CannotDo(f"{target} is there already", "give a new name: an older copy is never overwritten")
    making = target.with_name(f".{target.name}.making")
    try:
        with contextlib.closing(sqlite.open_reader(database)) as source:
            sqlite.copy_whole(source, making)
        with contextlib.closing(sqlite.open_reader(making)) as copy:
            head = head_in(StoredRecord(copy))
        os.replace(making, target)
    except (OSError, sqlite.DatabaseError) as error:
        raise CannotDo(f"{target} can't be made: {error}", sqlite.what_to_do_about(None)) from None
    finally:
        for end in ("", "-wal", "-shm"):
            making.with_name(making.name + end).unlink(missing_ok=True)
    return head


def restore(copy: Path, target: Path, now: Now, who: str) -> Restored:
    """Take a record up from a copy, in a new file. It goes on under a new identity that names the copy's.

    Raises: CannotDo when the target is there already, or the copy can't be read.
    """
    head = backup(copy, target)
    writer = Writer(target, now)
    try:
        writer.go_on_under_new_identity(head, now, who)
    finally:
        writer.close(now)
    return Restored(writer.bench, head)


def head_in(reader: StoredRecord) -> Head:
    """The head of a record. Raises: CannotDo when nothing is committed in it."""
    lines = list(reader.seals())
    if not lines:
        raise CannotDo("nothing is kept in it yet", "look whether it is the right file")
    return head_of(reader.identities()[-1], lines)
