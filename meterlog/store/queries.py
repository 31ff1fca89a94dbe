"""Every statement of the pages, by key or by range: none counts, skips or groups readings.

Each function takes a read-only connection with named rows and answers plain dicts. Their time does
not grow with the number of readings (tests/bench/pages.py).
"""

from __future__ import annotations

import json
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from meterlog.base.units import symbol
from meterlog.record.acts import ActKind
from meterlog.record.standing import standing as kept_standing
from meterlog.store.reader import form_of, typed_facts, typed_of

if TYPE_CHECKING:
    from meterlog.base.readings import Form
    from meterlog.store.sqlite import Connection

    Row = dict[str, Any]

OUTCOMES = ("pass", "fail", "undecided", "not judged")
JOBS_A_PAGE = 20
WORDS_MOST = 6
RECENT_JOBS = 500
"""Jobs whose personal fields are searched: they stand in no index, so that what is erased stays nowhere."""
_HOLDS = f"""j.id IN (
    SELECT rowid FROM job_words WHERE job_words MATCH ? UNION
    SELECT job FROM disclosure WHERE job > (SELECT max(id) FROM job) - {RECENT_JOBS}
        AND content IS NULL AND value LIKE ? ESCAPE '\\'
)"""
"""Whether a job holds a word: its number, appliance and plate by full text, its names and notes as they stand."""
_CLOSED = f"""(SELECT CASE WHEN e.kind = '{ActKind.JOB_CLOSED}' THEN e.at_utc_ms END FROM event e WHERE e.job = j.id
    AND e.kind IN ('{ActKind.JOB_CLOSED}', '{ActKind.JOB_TAKEN_UP}') ORDER BY e.id DESC LIMIT 1)"""
"""When a job was closed; null where it was taken up since."""
CONTEXT_MS = 8_000
"""What is shown before and after a capture."""
CONTEXT_READINGS = 600
"""Readings of all links among which that is looked for."""


def _all(db: Connection, sql: str, *values: Any) -> list[Row]:
    return [dict(row) for row in db.execute(sql, values)]


def _one(db: Connection, sql: str, *values: Any) -> Row | None:
    row = db.execute(sql, values).fetchone()
    return dict(row) if row else None


# ---- jobs ----


def jobs(db: Connection, before: int | None = None, words: str = "") -> list[Row]:
    """The newest jobs with the tallies of the verdicts that count; older than `before`, holding all `words`."""
    held = words.split()[:WORDS_MOST]
    found = _all(
        db,
        """
        SELECT j.id, j.ref, j.appliance, j.opened_utc_ms, t.name AS procedure_name,
            {closed} AS closed_utc_ms,
            (SELECT value FROM disclosure d WHERE d.job = j.id AND d.name = 'complaint') AS complaint
        FROM job j JOIN text t ON t.sha256 = j.procedure
        WHERE j.id < ? AND {wanted} ORDER BY j.id DESC LIMIT ?
        """.replace("{closed}", _CLOSED).replace("{wanted}", " AND ".join([_HOLDS] * len(held)) or "1"),
        before if before is not None else 2**62,
        *(value for word in held for value in (_as_words(word), f"%{_literally(word)}%")),
        JOBS_A_PAGE + 1,
    )
    for job in found:
        job["tally"] = _tally(db, job["id"])
    return found


def _as_words(word: str) -> str:
    """A word for full text: as it stands, and as the beginning of a longer one."""
    quoted = word.replace('"', '""')
    return f'"{quoted}"*'


def _literally(words: str) -> str:
    return words.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def _tally(db: Connection, job: int) -> dict[str, int]:
    """How many steps stand at each outcome, by the last verdict of each that nothing supersedes."""
    tally = dict.fromkeys(OUTCOMES, 0)
    for verdict in standing(verdicts_of(db, job)).values():
        tally[verdict["outcome"]] += 1
    return tally


def job(db: Connection, ref: str) -> Row | None:
    """One job, its procedure's text and its plate as a dict."""
    found = _one(
        db,
        """
        SELECT j.*, t.name AS procedure_name, t.body AS procedure_text,
            {closed} AS closed_utc_ms
        FROM job j JOIN text t ON t.sha256 = j.procedure WHERE j.ref = ?
        """.replace("{closed}", _CLOSED),
        ref,
    )
    if found:
        found["plate"] = json.loads(found["plate"])
    return found


def steps(db: Connection, job: int) -> list[Row]:
    """The steps of a job, in order."""
    return _all(db, "SELECT * FROM step WHERE job = ? ORDER BY position", job)


def verdicts_of(db: Connection, job: int) -> list[Row]:
    """The verdicts of a job, oldest first, each with its result (SI) but not what it was reached from."""
    return _all(
        db,
        """
        SELECT id, step, capture, outcome, why, supersedes, reason, at_utc_ms, json_extract(result, '$.value') AS value,
            json_extract(result, '$.unit') AS unit, json_extract(result, '$.expanded_uncertainty') AS expanded,
            json_extract(result, '$.limit.low') AS low, json_extract(result, '$.limit.high') AS high
        FROM verdict WHERE job = ? ORDER BY id
        """,
        job,
    )


def standing(verdicts: list[Row], first: frozenset[int] = frozenset()) -> dict[int, Row]:
    """The verdict that counts, by step."""
    return kept_standing(verdicts, first, linked=itemgetter("id", "step", "supersedes"))


def events_of(db: Connection, job: int) -> list[Row]:
    """What was done in a job, oldest first."""
    found = _all(
        db,
        """
        SELECT e.id, e.at_utc_ms, e.kind, e.who, e.whence, e.facts, s.key AS step
        FROM event e LEFT JOIN step s ON s.id = e.step WHERE e.job = ? ORDER BY e.id
        """,
        job,
    )
    for event in found:
        event["facts"] = json.loads(event["facts"])
    return found


def personal(db: Connection, job: int) -> list[Row]:
    """Personal fields that are still there: names, notes, photographs (without their content)."""
    return _all(
        db,
        "SELECT digest, name, value, content IS NOT NULL AS is_photo FROM disclosure "
        "WHERE job = ? AND name != '' ORDER BY rowid",
        job,
    )


def photo(db: Connection, digest: str) -> Row | None:
    """A photograph's bytes and what it shows."""
    return _one(db, "SELECT name, value, content FROM disclosure WHERE digest = ? AND content IS NOT NULL", digest)


# ---- captures and their readings ----

_CAPTURE = f"""
    SELECT c.*, j.ref AS job_ref, j.appliance, s.key AS step_key, s.title, s.points, s.limits, i.name AS instrument,
        l.opened_utc_ms, l.url, i.profile AS profile_sha, {typed_facts("c")} AS typed
    FROM capture c JOIN job j ON j.id = c.job JOIN step s ON s.id = c.step
    LEFT JOIN link l ON l.id = c.link LEFT JOIN instrument i ON i.id = l.instrument
"""


def captures_of(db: Connection, job: int) -> list[Row]:
    """The captures of a job, oldest first, as they were shown."""
    return [_with_form(db, row) for row in _all(db, _CAPTURE + "WHERE c.job = ? ORDER BY c.id", job)]


def capture(db: Connection, number: int) -> Row | None:
    """One capture with its step, instrument and form."""
    row = _one(db, _CAPTURE + "WHERE c.id = ?", number)
    return _with_form(db, row) if row else None


def form(db: Connection, number: int) -> Form:
    """A form by its id."""
    return form_of(_all(db, "SELECT * FROM form WHERE id = ?", number)[0])


def _with_form(db: Connection, row: Row) -> Row:
    shape = form(db, row["form"])
    row["form"] = shape
    row["shown"] = shape.digits(row["counts"])
    row["bound"] = str(shape.bound or "")
    row["value"] = None if shape.bound else shape.value(row["counts"])
    row["proof"] = json.loads(row["proof"])
    if typed := typed_of(row.get("typed")):
        row["typed"], row["instrument"] = typed, typed.instrument
    return row


def readings_around(db: Connection, capture: Row) -> list[Row]:
    """The readings of a capture's step, link and channel from 8 s before to 8 s after it, with their bytes.

    None of one that no link gave: timed by the machine's own clock, or typed.
    """
    if capture["link"] is None:
        return []
    rows = _all(
        db,
        """
        SELECT r.id, r.at, r.form, r.counts, substr(c.raw, r.place + 1, r.length) AS raw
        FROM reading r JOIN chunk c ON c.id = r.chunk
        WHERE r.id BETWEEN ? AND ? AND c.link = ? AND c.step IS ? AND r.at BETWEEN ? AND ? ORDER BY r.id
        """,
        capture["first_reading"] - CONTEXT_READINGS,
        capture["last_reading"] + CONTEXT_READINGS,
        capture["link"],
        capture["step"],
        capture["started"] - CONTEXT_MS,
        capture["ended"] + CONTEXT_MS,
    )
    forms = {number: form(db, number) for number in {row["form"] for row in rows}}
    kept = []
    for row in rows:
        shape = forms[row["form"]]
        if shape.channel == capture["form"].channel:
            inside = capture["first_reading"] <= row["id"] <= capture["last_reading"]
            shown = shape.digits(row["counts"])
            value = None if shape.bound else shape.value(row["counts"])
            kept.append({**row, "form": shape, "shown": shown, "value": value, "inside": inside})
    return kept


def asked_before(db: Connection, reading: int) -> bytes:
    """What had been sent to the instrument before a reading's message came."""
    found = _one(
        db,
        "SELECT s.raw FROM reading r JOIN sent s ON s.chunk = r.chunk AND s.place <= r.place "
        "WHERE r.id = ? ORDER BY s.id DESC LIMIT 1",
        reading,
    )
    return bytes(found["raw"]) if found else b""


# ---- verdicts ----


def verdict(db: Connection, number: int) -> Row | None:
    """One verdict with its step, job, what it supersedes and what supersedes it."""
    found = _one(
        db,
        """
        SELECT v.*, j.ref AS job_ref, j.appliance, s.key AS step_key, s.title, s.points, s.kind, s.quantity, s.limits,
            later.id AS superseded_by, later.reason AS superseded_why, later.at_utc_ms AS superseded_utc_ms
        FROM verdict v JOIN job j ON j.id = v.job JOIN step s ON s.id = v.step
        LEFT JOIN verdict later ON later.job = v.job AND later.supersedes = v.id WHERE v.id = ?
        """,
        number,
    )
    if found:
        found["result"] = json.loads(found["result"] or "{}")
        found["context"] = json.loads(found["context"] or "{}")
    return found


def text(db: Connection, sha256: str) -> Row | None:
    """A kept text by its hash."""
    return _one(db, "SELECT sha256, kind, name, body FROM text WHERE sha256 = ?", sha256)


def seal_of(db: Connection, job: int, kind: str, subject: int) -> int | None:
    """The number of the seal that closes over a row of a job."""
    row = _one(
        db, "SELECT seal FROM leaf WHERE job = ? AND kind = ? AND subject = ? LIMIT 1", job, kind, subject
    )  # leaf_of_job: a job's leaves only
    return row["seal"] if row else None


def standing_of(db: Connection, job: int) -> list[Row]:
    """The verdicts of a job that count, each with its step's key and title, oldest first."""
    steps_by_id = {step["id"]: step for step in steps(db, job)}
    found = standing(verdicts_of(db, job))
    named = ({**v, **{name: steps_by_id[step][name] for name in ("key", "title")}} for step, v in found.items())
    return sorted(named, key=lambda verdict: int(verdict["id"]))


def entered(db: Connection, job: int) -> dict[str, str]:
    """What was entered for a job after it was opened, the last word on each."""
    rows = _all(db, "SELECT facts FROM event WHERE job = ? AND kind = ? ORDER BY id", job, ActKind.ENTRIES)
    return {name: value for row in rows for name, value in json.loads(row["facts"])["entries"].items()}


def verdict_of_step(db: Connection, job: int, key: str) -> Row | None:
    """The newest verdict on a step of a job."""
    return _one(
        db,
        "SELECT v.id, v.outcome, v.why, json_extract(v.result, '$.value') AS value, "
        "json_extract(v.result, '$.expanded_uncertainty') AS expanded, json_extract(v.result, '$.unit') AS unit "
        "FROM verdict v JOIN step s ON s.id = v.step "
        "WHERE v.job = ? AND s.key = ? ORDER BY v.id DESC LIMIT 1",
        job,
        key,
    )


def where_of(db: Connection, job: int) -> str:
    """The jurisdiction whose limits were chosen when a job was opened."""
    row = _one(db, "SELECT facts FROM event WHERE job = ? AND kind = ? LIMIT 1", job, ActKind.JOB_OPENED)
    where: str = json.loads(row["facts"]).get("where", "") if row else ""
    return where


# ---- the bench ----

MINUTE_MS = 60_000
MINUTE_READINGS = 2_400
"""Readings of all links among which the last minute is looked for."""


def last_minute(db: Connection) -> list[Row]:
    """The last minute's readings of each display that are numbers: link's name, channel, age in s, SI value."""
    rows = _all(
        db,
        """
        SELECT i.name AS link, f.channel, l.opened_utc_ms + r.at AS utc_ms, r.counts, r.form
        FROM reading r JOIN chunk c ON c.id = r.chunk JOIN form f ON f.id = r.form
        JOIN link l ON l.id = c.link JOIN instrument i ON i.id = l.instrument
        WHERE r.id > (SELECT max(id) FROM reading) - ? AND f.bound = '' ORDER BY r.id
        """,
        MINUTE_READINGS,
    )
    newest = max((row["utc_ms"] for row in rows), default=0)
    forms = {number: form(db, number) for number in {row["form"] for row in rows}}
    return [
        {
            "link": row["link"],
            "channel": row["channel"],
            "quantity": forms[row["form"]].quantity,
            "utc_ms": row["utc_ms"],
            "value": forms[row["form"]].value(row["counts"]),
            "digits": forms[row["form"]].digits(row["counts"]),
            "unit": symbol(forms[row["form"]].unit),
        }
        for row in rows
        if row["utc_ms"] > newest - MINUTE_MS
    ]


def seals_of(db: Connection, job: int) -> list[str]:
    """The header lines of the seals that close over anything of a job, in order."""
    rows = _all(
        db,
        "SELECT s.line FROM seal s WHERE s.number IN (SELECT seal FROM leaf WHERE job = ?) ORDER BY s.number",
        job,
    )
    return [row["line"] for row in rows]
