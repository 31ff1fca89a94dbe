"""The steps by which a database came to its layout, run and recorded by sqlite-utils, each in one transaction."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from sqlite_utils import Database, Migrations

from meterlog.store.schema import EVIDENCE, LAYOUT_1, LAYOUT_2, LAYOUT_3
from meterlog.store.views import VIEWS

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection

migrations = Migrations("meterlog")


@migrations()
def first_tables(db: Database) -> None:
    _run(db, LAYOUT_1)
    for table in EVIDENCE:
        _protect(db, table)
    for name, sql in VIEWS.items():
        db.create_view(name, sql)
    db.execute(
        "CREATE TRIGGER job_is_found_by_its_words AFTER INSERT ON job BEGIN INSERT INTO job_words "
        "(rowid, ref, appliance, plate) VALUES (NEW.id, NEW.ref, NEW.appliance, NEW.plate); END"
    )
    db.execute(
        "CREATE TRIGGER disclosure_is_not_rewritten BEFORE UPDATE ON disclosure BEGIN "
        "SELECT RAISE(ABORT, 'a personal field is erased, never rewritten'); END"
    )
    db.execute(
        "INSERT INTO bench (one, identity, made_utc) VALUES (1, ?, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'))",
        [secrets.token_hex(16)],
    )
    db.execute("PRAGMA user_version = 1")


@migrations()
def every_row_under_its_seal(db: Database) -> None:
    _run(db, LAYOUT_2)
    for table in ("bench", "leaf"):
        _protect(db, table)
    _refuse(db, "text", "UPDATE")
    db.execute("PRAGMA user_version = 2")


@migrations()
def rest_found_by_its_chunk(db: Database) -> None:
    _run(db, LAYOUT_3)
    db.execute("PRAGMA user_version = 3")


def _run(db: Database, statements: str) -> None:
    for statement in statements.split(";\n"):
        if statement.strip():
            db.execute(statement)


def _protect(db: Database, table: str) -> None:
    """Refuse change in the database itself, for every program that opens the file.

    REPLACE deletes without firing delete triggers unless the connection asks for it, so a row whose
    key is taken is refused before it is inserted.
    """
    columns = {row[1] for row in db.execute(f"PRAGMA table_info({table})")}
    key = {"text": "sha256", "seal": "number"}.get(table, "id" if "id" in columns else "one")
    for change in ("UPDATE", "DELETE"):
        _refuse(db, table, change)
    said = _SAID.format(table=table)
    taken = "seal = NEW.seal AND place = NEW.place" if table == "leaf" else f"{key} = NEW.{key}"
    db.execute(
        f"CREATE TRIGGER {table}_refuses_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {taken}) BEGIN SELECT RAISE(ABORT, '{said}'); END"
    )


_SAID = "{table} is evidence: nothing recorded is changed or deleted"


def _refuse(db: Database, table: str, change: str) -> None:
    db.execute(
        f"CREATE TRIGGER {table}_refuses_{change.lower()} BEFORE {change} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{_SAID.format(table=table)}'); END"
    )


LAYOUTS = tuple(made.__name__ for made in (first_tables, every_row_under_its_seal, rest_found_by_its_chunk))
"""The step that made each layout, from layout 1 on."""


def run_missing(connection: Connection, layout: int = len(LAYOUTS)) -> None:
    """Run those that a database has not had, up to a layout."""
    migrations.apply(Database(connection), stop_before=LAYOUTS[layout:])
