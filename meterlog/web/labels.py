"""Datasette's own tables made useful: what each is, its columns with their units, questions ready to ask."""

from __future__ import annotations

from typing import Any

_AT = "ms on the link's monotonic clock since it was opened"
_UTC = "UTC, ms since 1970"
_CLOCK = "ms of the machine's monotonic clock"
_BOOT = "which boot of the machine that clock counts from"

TABLES: dict[str, dict[str, Any]] = {
    "job": {
        "description": "One appliance, one owner, one complaint. Personal fields stand behind digests.",
        "label_column": "ref",
        "sort_desc": "id",
        "facets": ["appliance"],
        "columns": {
            "opened_utc_ms": _UTC,
            "plate": "the rating plate, JSON of texts with units",
            "digests": "salted digests, JSON",
        },
    },
    "step": {
        "description": "The checks of each job's procedure, in order.",
        "label_column": "title",
        "columns": {
            "points": "probe points: black lead – red lead",
            "limits": "as written in the procedure, with units",
        },
    },
    "capture": {
        "description": "Runs of readings that answered a step. The view captures shows them in words.",
        "sort_desc": "id",
        "columns": {
            "counts": "of the form's last digit, the median of the run",
            "spread": "largest minus smallest value, SI unit of the quantity",
            "deviation": "sample standard deviation, SI unit of the quantity",
            "started": _AT,
            "ended": _AT,
            "proof": "id ranges of the readings that proved the leads, JSON",
        },
    },
    "verdict": {
        "description": "What was concluded, from what. A later one may supersede it, with a reason.",
        "sort_desc": "id",
        "facets": ["outcome"],
        "columns": {
            "result": "the whole verdict as JSON, values in SI",
            "program": "version that judged",
            "at_utc_ms": _UTC,
        },
    },
    "event": {
        "description": "Every act and every change of state: what, when, who, from where.",
        "sort_desc": "id",
        "facets": ["kind"],
        "columns": {"at_utc_ms": _UTC, "monotonic_ms": _CLOCK, "boot": _BOOT},
    },
    "instrument": {"description": "What stands on the bench.", "label_column": "name"},
    "link": {
        "description": "Each opening of an instrument's connection.",
        "label_column": "url",
        "sort_desc": "id",
        "columns": {"opened_utc_ms": _UTC, "opened_monotonic_ms": _CLOCK, "boot": _BOOT},
    },
    "text": {
        "description": "Profile, procedure and instrument texts by the SHA-256 of their bytes.",
        "label_column": "name",
    },
    "reading": {
        "description": "Every decoded value as counts of a form. The view readings shows the digits.",
        "columns": {"at": _AT, "counts": "of the form's last digit", "place": "byte in the chunk", "length": "bytes"},
    },
    "unread": {"description": "Bytes that gave no reading, and why.", "columns": {"at": _AT, "length": "bytes"}},
    "seal": {"description": "One line for each commit, chained by hashes.", "sort_desc": "number"},
    "captures": {
        "description": "Captures in words: job, step, probe points, digits and unit as shown.",
        "columns": {"spread": "SI unit of the quantity", "length_s": "s"},
    },
    "verdicts": {"description": "Verdicts in words; counts is 1 where nothing supersedes it.", "facets": ["outcome"]},
    "readings": {"description": "Readings in words, each with the bytes of its frame."},
    "not_read": {"description": "Bytes that gave no reading, with instrument and reason."},
    "read_again": {"description": "Readings by another profile, beside what was kept; nothing is replaced."},
    **{
        name: {"hidden": True}
        for name in ("chunk", "form", "leaf", "power_of_ten", "disclosure", "bench", "sent", "_sqlite_migrations")
    },
}

TITLE = "(SELECT s.title FROM step s JOIN job j ON j.id = s.job WHERE j.ref = v.job AND s.key = v.step)"
"""The title of the check of a row `v` that has job and step."""

QUESTIONS: dict[str, dict[str, Any]] = {
    "open_findings": {
        "title": "What failed or stayed undecided",
        "description": "Verdicts that count and did not pass, newest first.",
        "sql": "SELECT v.job, " + TITLE + ' AS "check", v.points, v.outcome, v.why, v.limits, v.utc, v.id AS verdict '
        "FROM verdicts v WHERE v.outcome IN ('fail', 'undecided') AND v.counts ORDER BY v.id DESC LIMIT 200",
    },
    "judged_again": {
        "title": "What was judged again, and why",
        "description": "Verdicts that supersede an earlier one, with both outcomes and the reason.",
        "sql": "SELECT later.job, "
        + TITLE.replace("v.", "later.")
        + ' AS "check", earlier.outcome AS was, later.outcome AS became, later.reason, '
        "later.utc, later.id AS verdict FROM verdicts later JOIN verdicts earlier ON earlier.id = later.supersedes "
        "ORDER BY later.id DESC LIMIT 200",
    },
    "job_captures": {
        "title": "The captures of a job",
        "description": "Everything that was measured in one job, in order. Give the job's number, such as K-7.",
        "sql": "SELECT v.job, " + TITLE + ' AS "check", v.points, v.quantity, v.shown, v.unit, v.how, v.started_utc, '
        "v.id AS capture FROM captures v WHERE v.job = :job ORDER BY v.id",
    },
    "job_readings": {
        "title": "The readings of a job",
        "description": "At most 1,000 readings taken during one job, after a reading's number, with their bytes.",
        "sql": "SELECT r.* FROM chunk c "
        "JOIN readings r ON r.id BETWEEN c.first_reading AND c.first_reading + c.readings - 1 "
        "WHERE c.job = (SELECT id FROM job WHERE ref = :job) AND r.id > coalesce(nullif(:after, ''), 0) LIMIT 1000",
    },
    "acts": {
        "title": "What people did",
        "description": "The last 500 acts and changes of state, with who and from where.",
        "sql": "SELECT strftime('%Y-%m-%d %H:%M:%S', e.at_utc_ms / 1000.0, 'unixepoch') AS utc, e.kind, j.ref AS job, "
        's.title AS "check", e.who, e.whence, e.facts FROM event e LEFT JOIN job j ON j.id = e.job '
        "LEFT JOIN step s ON s.id = e.step ORDER BY e.id DESC LIMIT 500",
    },
    "bytes_not_read": {
        "title": "Bytes that gave no reading",
        "description": "The last 500: rejected messages with the reason, and bytes outside messages.",
        "sql": "SELECT * FROM not_read ORDER BY id DESC LIMIT 500",
    },
    "bench_instruments": {
        "title": "The instruments of the bench",
        "description": "Each with its profile, its facts (accuracy, calibration) and when it was last opened.",
        "sql": "SELECT i.name, p.name AS profile, i.profile AS profile_sha256, f.body AS facts, "
        "(SELECT max(opened_utc_ms) FROM link l WHERE l.instrument = i.id) AS last_opened_utc_ms "
        "FROM instrument i JOIN text p ON p.sha256 = i.profile JOIN text f ON f.sha256 = i.facts ORDER BY i.name",
    },
}
"""Canned queries by name."""

SETTINGS = {
    "suggest_facets": False,
    "allow_facet": False,
    "allow_download": False,
    "default_page_size": 50,
    "facet_time_limit_ms": 100,
    "sql_time_limit_ms": 1000,
    "num_sql_threads": 3,
}
"""Datasette's settings for a large table of readings: nothing counted or faceted unasked."""


def metadata(database: str) -> dict[str, Any]:
    """Datasette's metadata for a bench's database; custom SQL is its owner's alone, on the loopback address."""
    return {
        "title": "meterlog",
        "description": "The record of a repair bench, read-only.",
        "allow_sql": {"id": "owner"},
        "plugins": {"meterlog": {"database": database}},
        "databases": {database: {"tables": TABLES, "queries": QUESTIONS}},
    }
