"""The one choice of SQLite library, and how its file is opened.

A process must hold one copy of SQLite, or POSIX locks on the file break; sqlite-utils and Datasette
take `pysqlite3` where it is installed, so this module does too, and no other module imports either.
One connection, the daemon's, writes and checkpoints; everyone else opens `mode=ro`, which keeps the
WAL-reset race of SQLite 3.7.0 to 3.51.2 without its second party.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import json
import os
import tempfile
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any
from urllib.parse import quote

from meterlog.base.errors import BenchBusy, CannotDo
from meterlog.store.schema import KNOWN_VERSION

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Callable
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


def make_first(path: Path, fill: Callable[[Connection], None]) -> None:
    """A new database, whole or not at all: made under another name beside it, and moved. Raises: CannotDo."""
    made = path.with_name(f".{path.name}.making")
    beside = [made.with_name(made.name + end) for end in ("", "-wal", "-shm", "-journal")]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for leftover in beside:
            leftover.unlink(missing_ok=True)
        with contextlib.closing(sqlite3.connect(made, isolation_level=None)) as connection:
            fill(connection)
        os.replace(made, path)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except (sqlite3.DatabaseError, OSError) as error:
        raise CannotDo(f"the database {path} can't be made: {error}", what_to_do_about(error)) from None
    finally:
        for leftover in beside:
            with contextlib.suppress(OSError):
                leftover.unlink(missing_ok=True)


def save_copy(connection: Connection, beside: Path, name: str) -> Path | None:
    """A whole copy of an open database, where a person looks first: beside its place, at home, in the temporary folder.

    Answers its path; None when no folder took it.
    """
    for folder in (beside, Path.home(), Path(tempfile.gettempdir())):
        making, whole = folder / f".{name}.making", folder / name
        try:
            making.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(making)) as copy:
                connection.backup(copy)
            os.replace(making, whole)
        except (sqlite3.DatabaseError, OSError):
            with contextlib.suppress(OSError):
                making.unlink(missing_ok=True)
        else:
            return whole
    return None


def copy_whole(source: Connection, target: Path) -> None:
    """Copy a database into a file in one step, as it stands at this moment, whoever writes it meanwhile."""
    target.parent.mkdir(parents=True, exist_ok=True)
    target.unlink(missing_ok=True)
    with contextlib.closing(sqlite3.connect(target)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # one file, whole by itself


def open_reader(path: Path) -> Connection:
    """A read-only connection that never checkpoints. Every older layout is read as it is (tests/old_records).

    Raises: CannotDo when there is no such file, no bench in it or one of a newer layout, or SQLite can't read it there.
    """
    if not path.exists():
        raise CannotDo(
            f"there is no database {path}",
            "start one with: meterlog listen, or try: meterlog demo; the way to the first job: meterlog",
        )
    try:
        connection = sqlite3.connect(_uri(path), uri=True, check_same_thread=False, timeout=5.0)
        connection.execute("SELECT count(*) FROM sqlite_master")
        layout = connection.execute("PRAGMA user_version").fetchone()[0]
    except sqlite3.DatabaseError as error:
        raise CannotDo(f"the database {path} can't be read: {error}", what_to_do_about(error)) from None
    if not layout:
        connection.close()
        raise CannotDo(f"{path} holds no bench", what_to_do_about(None))
    if layout > KNOWN_VERSION:
        connection.close()
        raise newer_layout(layout)
    connection.row_factory = sqlite3.Row
    return connection


def _uri(path: Path) -> str:
    """How a file is read: also one on a medium that can't be written, where it was closed in order.

    Raises: CannotDo when its write-ahead log still holds what the file does not, and can't be folded in there.
    """
    whole = path.resolve()
    uri = f"file:{quote(str(whole))}?mode=ro"
    if os.access(whole.parent, os.W_OK) and not os.statvfs(whole.parent).f_flag & os.ST_RDONLY:
        return uri
    log = whole.with_name(whole.name + "-wal")
    if log.exists() and log.stat().st_size:
        raise CannotDo(
            f"{path} was not closed in order, and its folder can't be written",
            f"copy it together with {log.name} into a folder of yours, and read it there",
        )
    return uri + "&immutable=1"


def newer_layout(found: int) -> CannotDo:
    """What to say of a database of a layout that this program does not know."""
    return CannotDo(
        f"the database was made by a newer meterlog (layout {found}, known {KNOWN_VERSION})",
        "upgrade with: pip install --upgrade meterlog",
    )


def what_to_do_about(error: Exception | None) -> str:
    """What to do when a database can't be used."""
    code = getattr(error, "sqlite_errorcode", None if error else sqlite3.SQLITE_NOTADB)
    if code == sqlite3.SQLITE_NOTADB:
        return "give the database of a bench with --db PATH"
    if code == sqlite3.SQLITE_FULL or getattr(error, "errno", None) in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT):
        return "make room on the disk, or choose another folder with --db PATH"
    if code == sqlite3.SQLITE_CORRUPT:
        return "keep it, and go on with the last copy that passes: meterlog audit"
    return "choose a folder that you may write with --db PATH"


class WriterLock:
    """The advisory lock beside a database that makes its holder the only writer.

    Raises: BenchBusy, naming the holder; CannotDo when the lock file cannot be made.
    """

    def __init__(self, database: Path, facts: dict[str, Any]) -> None:
        self.database = database = database.resolve()
        self.path = lock_file(database)
        self._held: int | None = None
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
            self._file.close()
            raise self._busy() from None
        try:
            self._file.truncate(0)
            self._file.write(json.dumps({"pid": os.getpid(), **facts}))
            self._file.flush()
        except OSError as error:
            with contextlib.suppress(OSError):
                self._file.close()
            raise CannotDo(f"{self.path} can't be written: {error.strerror}", what_to_do_about(error)) from None

    def _busy(self) -> BenchBusy:
        holder = lock_facts(self.database)
        who = f"process {holder.get('pid', '?')}, started {holder.get('started', '?')}"
        return BenchBusy(
            f"{self.database} is already written by another daemon ({who})",
            "use that one, end it first, or choose another file with --db PATH",
        )

    def hold(self) -> None:
        """Lock the database file itself, now that it is there: it may have other names. Raises: BenchBusy.

        SQLite locks with `fcntl`, this is `flock`: they do not meet. The file is let go after SQLite's connection,
        since closing it takes this process's `fcntl` locks along.
        """
        self._held = os.open(self.database, os.O_RDWR)
        try:
            fcntl.flock(self._held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise self._busy() from None

    @property
    def is_in_place(self) -> bool:
        """Whether the file at the path is the one that is held: it may have been deleted, replaced or unmounted."""
        assert self._held is not None
        try:
            there, held = os.stat(self.database), os.fstat(self._held)
        except OSError:
            return False
        return (there.st_dev, there.st_ino) == (held.st_dev, held.st_ino)

    def release(self) -> None:
        """Give the locks back, after the connection is closed; the lock file stays, empty."""
        if self._held is not None:
            os.close(self._held)
        with contextlib.suppress(OSError):
            self._file.truncate(0)
        self._file.close()


def lock_file(database: Path) -> Path:
    """Where the facts of a database's writer stand, whatever name it is called by."""
    whole = database.resolve()
    return whole.with_name(whole.name + ".lock")


def lock_facts(database: Path) -> dict[str, Any]:
    """What the holder of a database's lock wrote of itself: pid, started, socket; empty when nobody holds it."""
    try:
        text = lock_file(database).read_text(encoding="utf-8")
        facts = json.loads(text or "{}")
    except (OSError, ValueError):
        return {}
    return facts if isinstance(facts, dict) else {}
