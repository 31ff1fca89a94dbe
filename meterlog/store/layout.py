"""Bringing a database to the layout that this program knows, and refusing one that it does not."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.store import sqlite
from meterlog.store.schema import EVIDENCE, KNOWN_VERSION

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection


def migrate(connection: Connection) -> None:
    """Bring a database to the newest layout; a newer one than we know is left alone.

    Raises: CannotDo when a newer meterlog made it, or another program's tables are there.
    """
    found = connection.execute("PRAGMA user_version").fetchone()[0]
    if found > KNOWN_VERSION:
        raise sqlite.newer_layout(found)
    if found < KNOWN_VERSION:
        _bring_up(connection, found)
    missing = [table for table in EVIDENCE if not _is_protected(connection, table)]
    if missing:
        raise CannotDo(
            f"the refusing triggers of {', '.join(missing)} are gone", "take the last copy that passes: meterlog audit"
        )


def _bring_up(connection: Connection, found: int) -> None:
    """Run the migrations that are missing; sqlite-utils is loaded for this alone."""
    from meterlog.store.migrations import run_missing

    others = connection.execute("SELECT 1 FROM sqlite_master WHERE name != '_sqlite_migrations' LIMIT 1").fetchone()
    if found == 0 and others:
        raise CannotDo("the file holds another program's tables", "choose another file with --db PATH")
    if found:
        _keep_copy(connection, found)
    try:
        run_missing(connection)
    except sqlite.OperationalError as error:
        raise CannotDo(f"the database can't be made: {error}", "end the program that holds it, or make room") from None


def _keep_copy(connection: Connection, found: int) -> None:
    """A copy of a record as an older meterlog left it, beside it. Raises: CannotDo when there is no room."""
    path = Path(connection.execute("PRAGMA database_list").fetchone()[2])
    if path.name and sqlite.save_copy(connection, path.parent, f"{path.name}.layout-{found}") is None:
        raise CannotDo("there is no room for a copy before the record is brought up", "make room, or copy it yourself")


def _is_protected(connection: Connection, table: str) -> bool:
    wanted = {f"{table}_refuses_{change}" for change in ("update", "delete", "replace")}
    rows = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", [table])
    return wanted <= {row[0] for row in rows}


@lru_cache(maxsize=8)
def schema_of(layout: int) -> dict[tuple[str, str], str | None]:
    """The SQL of every table, view, trigger and index of a layout, by type and name, as this program makes it."""
    from meterlog.store.migrations import run_missing

    connection = sqlite.open_in_memory()
    run_missing(connection, layout)
    rows = connection.execute(SCHEMA).fetchall()
    connection.close()
    return {(kind, name): sql for kind, name, sql in rows}


SCHEMA = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
"""Everything of a database that was made, not kept."""
