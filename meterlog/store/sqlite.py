"""The one choice of SQLite library, and how its file is opened.

A process must hold one copy of SQLite, or POSIX locks on the file break; sqlite-utils and Datasette
take `pysqlite3` where it is installed, so this module does too, and no other module imports either.
One connection, the daemon's, writes and checkpoints; everyone else opens `mode=ro`, which keeps the
WAL-reset race of SQLite 3.7.0 to 3.51.2 without its second party.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from typing import IO, TYPE_CHECKING, Any
from urllib.parse import quote

from meterlog.base.errors import BenchBusy, CannotDo

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path
else:
    try:
        import pysqlite3 as sqlite3
    except ImportError:
        import sqlite3

Connection = sqlite3.Connection
DatabaseError = sqlite3.DatabaseError
OperationalError = sqlite3.OperationalError
VERSION: str = sqlite3.sqlite_version


def open_writer(path: Path) -> Connection:
    """The writing connection. Only for the holder of the `WriterLock`.

    Raises: CannotDo when the folder or file cannot be written, or it is no database.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=0.25)
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA foreign_keys=ON")
        connection.execute("PRAGMA recursive_triggers=ON")
        connection.execute("PRAGMA secure_delete=ON")
        connection.execute("PRAGMA wal_autocheckpoint=1000")
    except (sqlite3.DatabaseError, OSError) as error:
        raise CannotDo(f"the database {path} can't be written: {error}", what_to_do_about(error)) from None
    return connection


def open_in_memory() -> Connection:
    """An empty database of this process's own, in memory."""
    return sqlite3.connect(":memory:", isolation_level=None)


def open_reader(path: Path) -> Connection:
    """A read-only connection that never checkpoints.

    Raises: CannotDo when there is no such file, no bench in it, or its folder does not let SQLite read it.
    """
    if not path.exists():
        raise CannotDo(f"there is no database {path}", "start one with: meterlog listen, or try: meterlog demo")
    uri = f"file:{quote(str(path.resolve()))}?mode=ro"
    try:
        connection = sqlite3.connect(uri, uri=True, check_same_thread=False, timeout=5.0)
        connection.execute("SELECT count(*) FROM sqlite_master")
        layout = connection.execute("PRAGMA user_version").fetchone()[0]
    except sqlite3.DatabaseError as error:
        raise CannotDo(f"the database {path} can't be read: {error}", what_to_do_about(error)) from None
    if not layout:
        raise CannotDo(f"{path} holds no bench", what_to_do_about(None))
    connection.row_factory = sqlite3.Row
    return connection


def what_to_do_about(error: Exception | None) -> str:
    """What to do when a database can't be used."""
    code = getattr(error, "sqlite_errorcode", None if error else sqlite3.SQLITE_NOTADB)
    if code == sqlite3.SQLITE_NOTADB:
        return "give the database of a bench with --db PATH"
    if code == sqlite3.SQLITE_CORRUPT:
        return "keep it, and go on with the last copy that passes: meterlog audit"
    return "choose a folder that you may write with --db PATH"


class WriterLock:
    """The advisory lock beside a database that makes its holder the only writer.

    Raises: BenchBusy, naming the holder; CannotDo when the lock file cannot be made.
    """

    def __init__(self, database: Path, facts: dict[str, Any]) -> None:
        self.path = database.with_name(database.name + ".lock")
        try:
            database.parent.mkdir(parents=True, exist_ok=True)
            self._file: IO[str] = open(self.path, "a+", encoding="utf-8")  # noqa: SIM115  (held until release)
        except OSError as error:
            raise CannotDo(
                f"{self.path.parent} can't be written: {error.strerror}", "choose another folder with --db PATH"
            ) from None
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = lock_facts(database)
            who = f"process {holder.get('pid', '?')}, started {holder.get('started', '?')}"
            self._file.close()
            raise BenchBusy(
                f"{database} is already written by another daemon ({who})",
                "use that one, end it first, or choose another file with --db PATH",
            ) from None
        self._file.truncate(0)
        self._file.write(json.dumps({"pid": os.getpid(), **facts}))
        self._file.flush()

    def release(self) -> None:
        """Give the lock back; the file stays, empty."""
        with contextlib.suppress(OSError):
            self._file.truncate(0)
        self._file.close()


def lock_facts(database: Path) -> dict[str, Any]:
    """What the holder of a database's lock wrote of itself: pid, started, socket; empty when nobody holds it."""
    try:
        text = database.with_name(database.name + ".lock").read_text(encoding="utf-8")
        facts = json.loads(text or "{}")
    except (OSError, ValueError):
        return {}
    return facts if isinstance(facts, dict) else {}
