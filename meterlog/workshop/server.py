"""A workshop's server made and brought up to date, and the login of each bench.

A bench may add rows under its own identity and read them; it may change, delete and empty nothing, and sees no other
bench. Rival commits of one number are kept beside one another: a fork is shown, never decided here.
"""

from __future__ import annotations

import contextlib
import secrets
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo
from meterlog.store.sqlite import open_reader
from meterlog.workshop.address import connect, psycopg
from meterlog.workshop.layout import BENCHES, LAYOUTS, VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def init(url: str) -> int:
    """Make the schema and the roles, or bring them up to date; answers the layout's version. For the server's owner.

    Raises: CannotDo.
    """
    with connect(url) as db:
        db.execute("SELECT pg_advisory_xact_lock(hashtext('meterlog workshop'))")
        found = version(db)
        if found > VERSION:
            raise CannotDo(f"a newer meterlog made this workshop (layout {found})", "install that one here too")
        for number, statements in enumerate(LAYOUTS[found:], start=found + 1):
            db.execute(statements.encode())
            db.execute("INSERT INTO meterlog.layout VALUES (%s)", [number])
    return VERSION


def version(db: psycopg.Connection[Any]) -> int:
    """The layout of a server; 0 where nothing is made yet."""
    there = db.execute("SELECT to_regclass('meterlog.layout')").fetchone()
    if there is None or there[0] is None:
        return 0
    row = db.execute("SELECT max(version) FROM meterlog.layout").fetchone()
    return int(row[0] or 0) if row else 0


def join(url: str, identity: str, label: str) -> str:
    """Give a bench its login, by the server's owner; answers the address with which it sends.

    Raises: CannotDo, also when that identity has joined before.
    """
    login, password = f"bench_{identity[:16]}", secrets.token_urlsafe(24)
    with connect(url) as db:
        if version(db) != VERSION:
            raise CannotDo("this server is no workshop yet", "make it one with: meterlog workshop init URL")
        if db.execute("SELECT 1 FROM meterlog.bench WHERE identity = %s", [identity]).fetchone():
            raise CannotDo(
                "this bench has joined already",
                "a copied record joins under an identity of its own; a lost address is given anew with --anew",
            )
        role = psycopg.sql.Identifier(login)
        made = psycopg.sql.SQL("CREATE ROLE {} LOGIN PASSWORD {} CONNECTION LIMIT 8 IN ROLE {}")
        db.execute(made.format(role, psycopg.sql.Literal(password), psycopg.sql.Identifier(BENCHES)))
        db.execute("INSERT INTO meterlog.bench (identity, label, login) VALUES (%s, %s, %s)", [identity, label, login])
    return _as(url, {"user": login, "password": password})


def identity_in(database: Path) -> str:
    """The identity that a bench's record goes under. Raises: CannotDo."""
    with contextlib.closing(open_reader(database)) as db:
        return str(db.execute("SELECT identity FROM bench ORDER BY id DESC LIMIT 1").fetchone()[0])


def give_anew(url: str, identity: str) -> str:
    """A new password for a bench that lost its address. Raises: CannotDo, where it never joined."""
    password = secrets.token_urlsafe(24)
    with connect(url) as db:
        row = db.execute("SELECT login FROM meterlog.bench WHERE identity = %s", [identity]).fetchone()
        if row is None:
            raise CannotDo("this bench has not joined yet", "join without --anew")
        changed = psycopg.sql.SQL("ALTER ROLE {} PASSWORD {}")
        db.execute(changed.format(psycopg.sql.Identifier(row[0]), psycopg.sql.Literal(password)))
    return _as(url, {"user": str(row[0]), "password": password})


def _as(url: str, login: Mapping[str, str]) -> str:
    return str(psycopg.conninfo.make_conninfo(url, **login))
