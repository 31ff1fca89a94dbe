"""What stands on a workshop's server: tables, rights, and the login of each bench.

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

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

BENCHES = "meterlog_bench"
READERS = "meterlog_reader"

VERSION = 1
TABLES = """
CREATE SCHEMA meterlog;
CREATE TABLE meterlog.layout (version int PRIMARY KEY, made timestamptz NOT NULL DEFAULT now());
CREATE TABLE meterlog.bench (
    identity text PRIMARY KEY CHECK (length(identity) = 32),
    label text NOT NULL,
    login text NOT NULL UNIQUE,
    joined timestamptz NOT NULL DEFAULT now()
);
CREATE TABLE meterlog.commit (
    bench text NOT NULL REFERENCES meterlog.bench,
    number bigint NOT NULL,
    hash text NOT NULL,
    line text NOT NULL,
    acts int NOT NULL,
    body bytea NOT NULL,
    digest bytea NOT NULL,
    received timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (bench, number, hash),
    CHECK (hash = encode(sha256('\\x00'::bytea || convert_to(line, 'UTF8')), 'hex')),
    CHECK (digest = sha256(body))
);
CREATE INDEX commit_with_acts ON meterlog.commit (bench, number) WHERE acts > 0;
CREATE TABLE meterlog.row (
    bench text NOT NULL REFERENCES meterlog.bench,
    tbl text NOT NULL,
    id bigint NOT NULL,
    number bigint NOT NULL,
    hash text NOT NULL,
    data jsonb NOT NULL,
    PRIMARY KEY (bench, tbl, id, hash)
);
CREATE INDEX row_of_commit ON meterlog.row (bench, number);
CREATE INDEX job_by_words ON meterlog.row USING gin (to_tsvector('simple',
    coalesce(data ->> 'ref', '') || ' ' || coalesce(data ->> 'appliance', '') || ' ' || coalesce(data ->> 'plate', '')
)) WHERE tbl = 'job';
CREATE INDEX job_by_time ON meterlog.row (((data ->> 'opened_utc_ms')::bigint)) WHERE tbl = 'job';
CREATE TABLE meterlog.personal (
    bench text NOT NULL REFERENCES meterlog.bench,
    digest text NOT NULL,
    job bigint,
    salt bytea NOT NULL,
    name text NOT NULL,
    value text NOT NULL,
    content bytea,
    PRIMARY KEY (bench, digest)
);
CREATE TABLE meterlog.erased (bench text NOT NULL, digest text NOT NULL, PRIMARY KEY (bench, digest));
CREATE VIEW meterlog.fork AS
    SELECT bench, number, count(*) AS lines FROM meterlog.commit GROUP BY bench, number HAVING count(*) > 1;
CREATE FUNCTION meterlog.mine() RETURNS text STABLE SECURITY DEFINER SET search_path = '' LANGUAGE sql AS
    'SELECT identity FROM meterlog.bench WHERE login = session_user';
CREATE FUNCTION meterlog.reach(of_bench text) RETURNS bigint STABLE LANGUAGE sql AS $$
    SELECT coalesce(max(number), -1) FROM (
        SELECT number, number - row_number() OVER (ORDER BY number) AS gap
        FROM (SELECT DISTINCT number FROM meterlog.commit WHERE bench = of_bench) AS each
    ) AS run WHERE gap = -1
$$;
CREATE FUNCTION meterlog.obey_erasures() RETURNS trigger SECURITY DEFINER SET search_path = '' LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO meterlog.erased
        SELECT NEW.bench, each.value FROM jsonb_array_elements_text((NEW.data ->> 'facts')::jsonb -> 'digests') AS each
        ON CONFLICT DO NOTHING;
    DELETE FROM meterlog.personal AS p USING meterlog.erased AS e
        WHERE p.bench = NEW.bench AND e.bench = NEW.bench AND e.digest = p.digest;
    RETURN NEW;
END $$;
CREATE TRIGGER erasures_are_obeyed AFTER INSERT ON meterlog.row FOR EACH ROW
    WHEN (NEW.tbl = 'event' AND NEW.data ->> 'kind' = 'erased') EXECUTE FUNCTION meterlog.obey_erasures();
CREATE FUNCTION meterlog.refuse_erased() RETURNS trigger SECURITY DEFINER SET search_path = '' LANGUAGE plpgsql AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM meterlog.erased WHERE bench = NEW.bench AND digest = NEW.digest) THEN RETURN NULL; END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER erased_stays_erased BEFORE INSERT ON meterlog.personal FOR EACH ROW
    EXECUTE FUNCTION meterlog.refuse_erased();
"""

RIGHTS = f"""
GRANT USAGE ON SCHEMA meterlog TO {BENCHES}, {READERS};
GRANT SELECT ON ALL TABLES IN SCHEMA meterlog TO {READERS};
GRANT SELECT ON meterlog.layout, meterlog.bench, meterlog.fork TO {BENCHES};
GRANT SELECT, INSERT ON meterlog.commit, meterlog.row, meterlog.personal TO {BENCHES};
"""

_ROLES = f"""
DO $$ BEGIN
    IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{BENCHES}') THEN CREATE ROLE {BENCHES} NOLOGIN; END IF;
    IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{READERS}') THEN CREATE ROLE {READERS} NOLOGIN; END IF;
END $$
"""

_OWN = ("commit", "row", "personal")


def init(url: str) -> int:
    """Make the schema and the roles, or bring them up to date; answers the layout's version. For the server's owner.

    Raises: CannotDo.
    """
    with connect(url) as db:
        found = version(db)
        if found > VERSION:
            raise CannotDo(f"a newer meterlog made this workshop (layout {found})", "install that one here too")
        if found == VERSION:
            return found
        db.execute("SELECT pg_advisory_xact_lock(hashtext('meterlog workshop'))")
        db.execute(_ROLES)
        for statements in (TABLES, RIGHTS):
            db.execute(statements.encode())
        for table in ("bench", *_OWN):
            own = "login = session_user" if table == "bench" else "bench = meterlog.mine()"
            db.execute(f"ALTER TABLE meterlog.{table} ENABLE ROW LEVEL SECURITY".encode())
            db.execute(f"CREATE POLICY own ON meterlog.{table} TO {BENCHES} USING ({own})".encode())
            db.execute(f"CREATE POLICY read ON meterlog.{table} FOR SELECT TO {READERS} USING (true)".encode())
        db.execute("INSERT INTO meterlog.layout VALUES (%s)", [VERSION])
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
