"""The tables. Evidence refuses UPDATE, DELETE and REPLACE (`migrations`).

    bench       the identities that this record went under: a restored copy goes on under one of its own
    text        profile, procedure and instrument texts by the SHA-256 of their exact bytes
    instrument  what stands on the bench: its name, profile and facts (accuracy, calibration)
    link        one opening of an instrument's connection, with both clocks
    chunk       the bytes that one link gave within one commit, job and step, as they came
    form        what a display shows but for its digits (shared by readings)
    reading     counts of a form, where its frame stands in the chunk, when it came
    unread      the bytes that gave no reading: rejected (why), skipped, answers without a reading
    sent        what was written to the instrument, and before which byte of the answer
    job, step   one appliance and the steps of its procedure
    capture     the settled run that answers a step; a timed one has no link and counts the machine's clock
    verdict     what was concluded, from what; a later one may supersede it, with a reason
    event       every act and every change of state: what, when, who, from where
    reread      what another profile makes of kept bytes, where it differs, with the event of that act
    leaf, seal  the order and the hashes that make a change visible (`meterlog.base.seals`)
    disclosure  personal fields behind their digests, decoys (without a name) among them: alone may be erased
    job_words   full text over jobs, without personal fields: what is erased must stay nowhere

Times: `at` is milliseconds on the link's monotonic clock since it was opened; UTC is the link's
`opened_utc_ms` plus that. Event times are UTC milliseconds.
"""

from __future__ import annotations

EVIDENCE = (
    "bench", "text", "instrument", "link", "chunk", "form", "reading", "unread", "sent", "job", "step", "capture",
    "verdict", "event", "reread", "leaf", "seal",
)  # fmt: skip
"""Tables whose rows are never changed or deleted."""

KNOWN_VERSION = 3
"""`user_version` of the newest layout this program knows."""

LAYOUT_1 = """
CREATE TABLE bench (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    identity TEXT NOT NULL CHECK (length(identity) = 32),
    made_utc TEXT NOT NULL
) STRICT;
CREATE TABLE text (
    sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
    kind TEXT NOT NULL,
    name TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE TABLE instrument (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    profile TEXT NOT NULL REFERENCES text (sha256),
    facts TEXT NOT NULL REFERENCES text (sha256)
) STRICT;
CREATE TABLE link (
    id INTEGER PRIMARY KEY,
    instrument INTEGER NOT NULL REFERENCES instrument (id),
    url TEXT NOT NULL,
    opened_utc_ms INTEGER NOT NULL,
    opened_monotonic_ms INTEGER NOT NULL,
    boot TEXT NOT NULL
) STRICT;
CREATE TABLE job (
    id INTEGER PRIMARY KEY,
    ref TEXT NOT NULL UNIQUE,
    appliance TEXT NOT NULL,
    procedure TEXT NOT NULL REFERENCES text (sha256),
    plate TEXT NOT NULL,
    digests TEXT NOT NULL,
    opened_utc_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE step (
    id INTEGER PRIMARY KEY,
    job INTEGER NOT NULL REFERENCES job (id),
    position INTEGER NOT NULL,
    key TEXT NOT NULL,
    title TEXT NOT NULL,
    kind TEXT NOT NULL,
    points TEXT NOT NULL,
    quantity TEXT NOT NULL,
    limits TEXT NOT NULL,
    UNIQUE (job, position)
) STRICT;
CREATE TABLE form (
    id INTEGER PRIMARY KEY,
    channel TEXT NOT NULL,
    quantity TEXT NOT NULL,
    mode TEXT NOT NULL,
    unit TEXT NOT NULL,
    scale REAL NOT NULL,
    offset REAL NOT NULL,
    decimals INTEGER NOT NULL,
    width INTEGER NOT NULL,
    negative_zero INTEGER NOT NULL,
    bound TEXT NOT NULL,
    flags TEXT NOT NULL,
    range TEXT NOT NULL,
    range_top REAL
) STRICT;
CREATE TABLE chunk (
    id INTEGER PRIMARY KEY,
    link INTEGER NOT NULL REFERENCES link (id),
    job INTEGER REFERENCES job (id),
    step INTEGER REFERENCES step (id),
    at INTEGER NOT NULL,
    first_reading INTEGER NOT NULL,
    readings INTEGER NOT NULL,
    raw BLOB NOT NULL
) STRICT;
CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    chunk INTEGER NOT NULL,
    at INTEGER NOT NULL,
    form INTEGER NOT NULL,
    counts INTEGER,
    place INTEGER NOT NULL,
    length INTEGER NOT NULL
) STRICT;
CREATE TABLE unread (
    id INTEGER PRIMARY KEY,
    chunk INTEGER NOT NULL,
    at INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('rejected', 'skipped', 'no reading')),
    reason TEXT NOT NULL,
    place INTEGER NOT NULL,
    length INTEGER NOT NULL
) STRICT;
CREATE TABLE sent (
    id INTEGER PRIMARY KEY,
    chunk INTEGER NOT NULL,
    at INTEGER NOT NULL,
    place INTEGER NOT NULL,
    raw BLOB NOT NULL
) STRICT;
CREATE TABLE capture (
    id INTEGER PRIMARY KEY,
    job INTEGER NOT NULL REFERENCES job (id),
    step INTEGER NOT NULL REFERENCES step (id),
    link INTEGER REFERENCES link (id),
    form INTEGER NOT NULL REFERENCES form (id),
    counts INTEGER,
    count INTEGER NOT NULL,
    spread REAL NOT NULL,
    deviation REAL NOT NULL,
    started INTEGER NOT NULL,
    ended INTEGER NOT NULL,
    first_reading INTEGER REFERENCES reading (id),
    last_reading INTEGER REFERENCES reading (id),
    how TEXT NOT NULL,
    proof TEXT NOT NULL,
    timing TEXT NOT NULL
) STRICT;
CREATE TABLE verdict (
    id INTEGER PRIMARY KEY,
    job INTEGER NOT NULL REFERENCES job (id),
    step INTEGER NOT NULL REFERENCES step (id),
    capture INTEGER REFERENCES capture (id),
    outcome TEXT NOT NULL CHECK (outcome IN ('pass', 'fail', 'undecided', 'not judged')),
    why TEXT NOT NULL,
    result TEXT NOT NULL,
    context TEXT NOT NULL,
    procedure TEXT NOT NULL REFERENCES text (sha256),
    profile TEXT REFERENCES text (sha256),
    facts TEXT REFERENCES text (sha256),
    program TEXT NOT NULL,
    supersedes INTEGER REFERENCES verdict (id),
    reason TEXT NOT NULL,
    at_utc_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    at_utc_ms INTEGER NOT NULL,
    monotonic_ms INTEGER NOT NULL,
    boot TEXT NOT NULL,
    kind TEXT NOT NULL,
    job INTEGER REFERENCES job (id),
    step INTEGER REFERENCES step (id),
    link INTEGER REFERENCES link (id),
    who TEXT NOT NULL,
    whence TEXT NOT NULL,
    facts TEXT NOT NULL
) STRICT;
CREATE TABLE reread (
    id INTEGER PRIMARY KEY,
    event INTEGER NOT NULL REFERENCES event (id),
    link INTEGER NOT NULL REFERENCES link (id),
    start INTEGER NOT NULL,
    reading INTEGER REFERENCES reading (id),
    form INTEGER REFERENCES form (id),
    counts INTEGER
) STRICT;
CREATE TABLE seal (
    number INTEGER PRIMARY KEY,
    line TEXT NOT NULL,
    acts INTEGER NOT NULL
) STRICT;
CREATE TABLE leaf (
    seal INTEGER NOT NULL REFERENCES seal (number),
    place INTEGER NOT NULL,
    job INTEGER REFERENCES job (id),
    number INTEGER,
    kind TEXT NOT NULL CHECK (kind IN ('readings', 'job', 'capture', 'verdict', 'event')),
    subject INTEGER NOT NULL,
    PRIMARY KEY (seal, place)
) STRICT, WITHOUT ROWID;
CREATE TABLE disclosure (
    digest TEXT PRIMARY KEY,
    job INTEGER REFERENCES job (id),
    salt BLOB NOT NULL,
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    content BLOB
) STRICT;
CREATE TABLE summary (
    link INTEGER NOT NULL,
    channel TEXT NOT NULL,
    at INTEGER NOT NULL,
    quantity TEXT NOT NULL,
    first_reading INTEGER NOT NULL,
    last_reading INTEGER NOT NULL,
    count INTEGER NOT NULL,
    low REAL,
    high REAL,
    PRIMARY KEY (link, channel, at, quantity)
) STRICT, WITHOUT ROWID;
CREATE INDEX seal_of_acts ON seal (number) WHERE acts > 0;
CREATE INDEX chunk_of_job ON chunk (job) WHERE job IS NOT NULL;
CREATE INDEX capture_of_step ON capture (step);
CREATE INDEX capture_of_job ON capture (job);
CREATE INDEX verdict_of_job ON verdict (job);
CREATE INDEX verdict_of_capture ON verdict (capture);
CREATE INDEX step_of_key ON step (key);
CREATE INDEX event_of_job ON event (job) WHERE job IS NOT NULL;
CREATE INDEX reread_of_event ON reread (event);
CREATE INDEX job_of_appliance ON job (appliance);
CREATE VIRTUAL TABLE job_words USING fts5 (ref, appliance, plate, content = 'job', content_rowid = 'id');
CREATE INDEX disclosure_of_job ON disclosure (job) WHERE job IS NOT NULL;
CREATE INDEX leaf_of_job ON leaf (job, number) WHERE job IS NOT NULL;
CREATE TABLE power_of_ten (decimals INTEGER PRIMARY KEY, n INTEGER NOT NULL) STRICT;
WITH RECURSIVE t (d, n) AS (SELECT 0, 1 UNION ALL SELECT d + 1, n * 10 FROM t WHERE d < 15)
    INSERT INTO power_of_ten SELECT d, n FROM t
"""
"""The tables as they were first laid out. Never edited: kept databases were made by it."""

LAYOUT_2 = """
DROP TABLE summary;
CREATE TABLE bench_2 (
    id INTEGER PRIMARY KEY,
    identity TEXT NOT NULL UNIQUE CHECK (length(identity) = 32),
    made_utc TEXT NOT NULL,
    first_seal INTEGER NOT NULL,
    parent TEXT
) STRICT;
INSERT INTO bench_2 SELECT 1, identity, made_utc, 0, NULL FROM bench;
DROP TABLE bench;
ALTER TABLE bench_2 RENAME TO bench;
DROP TRIGGER text_refuses_update;
ALTER TABLE text ADD COLUMN id INTEGER;
UPDATE text SET id = rowid;
CREATE UNIQUE INDEX text_of_id ON text (id);
CREATE TABLE leaf_2 (
    seal INTEGER NOT NULL REFERENCES seal (number),
    place INTEGER NOT NULL,
    job INTEGER REFERENCES job (id),
    number INTEGER,
    kind TEXT NOT NULL CHECK (kind IN (
        'readings', 'job', 'steps', 'capture', 'verdict', 'event', 'bench', 'text', 'instrument', 'link', 'form'
    )),
    subject INTEGER NOT NULL,
    PRIMARY KEY (seal, place)
) STRICT, WITHOUT ROWID;
INSERT INTO leaf_2 SELECT * FROM leaf;
DROP TABLE leaf;
ALTER TABLE leaf_2 RENAME TO leaf;
CREATE INDEX leaf_of_job ON leaf (job, number) WHERE job IS NOT NULL;
CREATE UNIQUE INDEX leaf_of_row ON leaf (kind, subject)
"""
"""Every row but a reading gets a leaf of its own; a record may go on under another bench's identity."""

LAYOUT_3 = """
CREATE INDEX unread_of_chunk ON unread (chunk);
CREATE INDEX sent_of_chunk ON sent (chunk)
"""
"""What belongs to a chunk is found by it: the audit, the evidence file and the sender ask for every one."""
