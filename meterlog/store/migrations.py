"""The steps by which a database came to its layout, run and recorded by sqlite-utils, each in one transaction."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from sqlite_utils import Database, Migrations

from meterlog.store.schema import EVIDENCE, TABLES
from meterlog.store.views import VIEWS

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection

migrations = Migrations("meterlog")


@migrations()
def first_tables(db: Database) -> None:
    for statement in TABLES.split(";\n"):
        if statement.strip():
            db.execute(statement)
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


def _protect(db: Database, table: str) -> None:
    """Refuse change in the database itself, for every program that opens the file.

    REPLACE deletes without firing delete triggers unless the connection asks for it, so a row whose
    key is taken is refused before it is inserted.
    """
    key = {"bench": "one", "text": "sha256", "seal": "number"}.get(table, "id")
    said = f"{table} is evidence: nothing recorded is changed or deleted"
    for change in ("UPDATE", "DELETE"):
        db.execute(
            f"CREATE TRIGGER {table}_refuses_{change.lower()} BEFORE {change} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{said}'); END"
        )
    taken = "seal = NEW.seal AND place = NEW.place" if table == "leaf" else f"{key} = NEW.{key}"
    db.execute(
        f"CREATE TRIGGER {table}_refuses_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {taken}) BEGIN SELECT RAISE(ABORT, '{said}'); END"
    )


def run_missing(connection: Connection) -> None:
    """Run those that a database has not had."""
    migrations.apply(Database(connection))
