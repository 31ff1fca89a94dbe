"""The tables of a workshop's server, layout by layout, and who may do what with them."""

from __future__ import annotations

BENCHES = "meterlog_bench"
READERS = "meterlog_reader"

_FIRST = """
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

_ROLES = f"""
DO $$ BEGIN
    IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{BENCHES}') THEN CREATE ROLE {BENCHES} NOLOGIN; END IF;
    IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = '{READERS}') THEN CREATE ROLE {READERS} NOLOGIN; END IF;
END $$;
"""

_RIGHTS = f"""
GRANT USAGE ON SCHEMA meterlog TO {BENCHES}, {READERS};
GRANT SELECT ON ALL TABLES IN SCHEMA meterlog TO {READERS};
GRANT SELECT ON meterlog.layout, meterlog.bench, meterlog.fork TO {BENCHES};
GRANT SELECT, INSERT ON meterlog.commit, meterlog.row, meterlog.personal TO {BENCHES};
"""


def _own_rows_only(table: str, own: str) -> str:
    return (
        f"ALTER TABLE meterlog.{table} ENABLE ROW LEVEL SECURITY;"
        f"CREATE POLICY own ON meterlog.{table} TO {BENCHES} USING ({own});"
        f"CREATE POLICY read ON meterlog.{table} FOR SELECT TO {READERS} USING (true);"
    )


_OWN = _own_rows_only("bench", "login = session_user") + "".join(
    _own_rows_only(table, "bench = meterlog.mine()") for table in ("commit", "row", "personal")
)

# How far a bench has come, when it was heard and what has a rival are asked for every few seconds, of every bench: none
# of it is counted anew. `reached` is a cache alone: a row changed by the server's owner empties it.
_ASKED_WITHOUT_COUNTING = f"""
CREATE TABLE meterlog.heard (bench text PRIMARY KEY REFERENCES meterlog.bench, at timestamptz NOT NULL);
INSERT INTO meterlog.heard SELECT bench, max(received) FROM meterlog.commit GROUP BY bench;
CREATE TABLE meterlog.rival (bench text NOT NULL, number bigint NOT NULL, PRIMARY KEY (bench, number));
INSERT INTO meterlog.rival SELECT bench, number FROM meterlog.fork;
CREATE TABLE meterlog.reached (bench text PRIMARY KEY REFERENCES meterlog.bench, number bigint NOT NULL);
CREATE FUNCTION meterlog.note_arrival() RETURNS trigger SECURITY DEFINER SET search_path = '' LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO meterlog.heard SELECT DISTINCT bench, now() FROM arrived
        ON CONFLICT (bench) DO UPDATE SET at = excluded.at;
    INSERT INTO meterlog.rival SELECT DISTINCT bench, number FROM arrived AS a WHERE EXISTS (
        SELECT 1 FROM meterlog.commit AS c WHERE c.bench = a.bench AND c.number = a.number AND c.hash <> a.hash
    ) ON CONFLICT DO NOTHING;
    RETURN NULL;
END $$;
CREATE TRIGGER arrivals_are_noted AFTER INSERT ON meterlog.commit REFERENCING NEW TABLE AS arrived
    FOR EACH STATEMENT EXECUTE FUNCTION meterlog.note_arrival();
CREATE FUNCTION meterlog.forget_reached() RETURNS trigger SECURITY DEFINER SET search_path = '' LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM meterlog.reached;
    RETURN NULL;
END $$;
CREATE TRIGGER reached_is_found_again AFTER UPDATE OR DELETE OR TRUNCATE ON meterlog.commit
    FOR EACH STATEMENT EXECUTE FUNCTION meterlog.forget_reached();
DROP FUNCTION meterlog.reach(text);
CREATE FUNCTION meterlog.reach(of_bench text) RETURNS bigint SECURITY DEFINER SET search_path = ''
    LANGUAGE plpgsql AS $$
DECLARE
    known bigint := coalesce((SELECT number FROM meterlog.reached WHERE bench = of_bench), -1);
    last bigint := known;
    each bigint;
BEGIN
    IF of_bench <> coalesce(meterlog.mine(), of_bench) THEN
        RAISE insufficient_privilege USING message = 'another bench';
    END IF;
    FOR each IN SELECT number FROM meterlog.commit WHERE bench = of_bench AND number > known ORDER BY number LOOP
        EXIT WHEN each > last + 1;
        last := each;
    END LOOP;
    IF last > known AND current_setting('transaction_read_only') = 'off' THEN
        UPDATE meterlog.reached SET number = last
            WHERE bench = (SELECT bench FROM meterlog.reached WHERE bench = of_bench FOR UPDATE SKIP LOCKED);
        INSERT INTO meterlog.reached VALUES (of_bench, last) ON CONFLICT DO NOTHING;
    END IF;
    RETURN last;
END $$;
GRANT SELECT ON meterlog.heard, meterlog.rival, meterlog.reached TO {READERS};
"""

LAYOUTS = (_ROLES + _FIRST + _RIGHTS + _OWN, _ASKED_WITHOUT_COUNTING)
"""What brings a server from each layout to the next; 0 is a server without one. Never edited: add one."""

VERSION = len(LAYOUTS)
