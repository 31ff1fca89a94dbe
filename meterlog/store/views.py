"""Views for whoever browses: labels instead of numbers, digits as they were shown."""

_SHOWN = """
    CASE WHEN f.bound != '' THEN f.bound || ' ' ELSE '' END ||
    CASE
        WHEN {x}.counts IS NULL THEN ''
        WHEN f.decimals <= 0 THEN
            iif({x}.counts < 0 OR f.negative_zero, '-', '') ||
            printf('%0' || f.width || 'd', abs({x}.counts)) ||
            iif(f.decimals < 0, 'E+' || -f.decimals, '')
        ELSE
            iif({x}.counts < 0 OR f.negative_zero, '-', '') ||
            printf('%0' || f.width || 'd.%0' || f.decimals || 'd', abs({x}.counts) / p.n, abs({x}.counts) % p.n)
    END"""


def _shown(table: str) -> str:
    """SQL for the digits of a row of `table`, exactly as the display showed them."""
    return _SHOWN.replace("{x}", table)


def _utc(at: str) -> str:
    return f"strftime('%Y-%m-%d %H:%M:%f', (l.opened_utc_ms + {at}) / 1000.0, 'unixepoch')"


READINGS = f"""
SELECT r.id, i.name AS instrument, f.channel, {_utc("r.at")} AS utc, f.quantity, f.mode,
    {_shown("r")} AS shown, f.unit, f.flags, j.ref AS job, s.key AS step, s.points,
    hex(substr(c.raw, r.place + 1, r.length)) AS frame, r.chunk
FROM reading r
JOIN chunk c ON c.id = r.chunk
JOIN form f ON f.id = r.form
JOIN power_of_ten p ON p.decimals = max(f.decimals, 0)
JOIN link l ON l.id = c.link
JOIN instrument i ON i.id = l.instrument
LEFT JOIN job j ON j.id = c.job
LEFT JOIN step s ON s.id = c.step
"""

CAPTURES = f"""
SELECT c.id, j.ref AS job, s.key AS step, s.points, i.name AS instrument, f.quantity, f.mode,
    {_shown("c")} AS shown, f.unit, c.how, c.count, c.spread, {_utc("c.started")} AS started_utc,
    (c.ended - c.started) / 1000.0 AS length_s, c.first_reading, c.last_reading
FROM capture c
JOIN form f ON f.id = c.form
JOIN power_of_ten p ON p.decimals = max(f.decimals, 0)
LEFT JOIN link l ON l.id = c.link
LEFT JOIN instrument i ON i.id = l.instrument
JOIN job j ON j.id = c.job
JOIN step s ON s.id = c.step
"""

VERDICTS = """
SELECT v.id, j.ref AS job, s.key AS step, s.points, v.outcome, v.why, s.limits, v.capture, v.program,
    strftime('%Y-%m-%d %H:%M:%S', v.at_utc_ms / 1000.0, 'unixepoch') AS utc, v.supersedes, v.reason,
    NOT EXISTS (SELECT 1 FROM verdict later WHERE later.supersedes = v.id) AS counts
FROM verdict v
JOIN job j ON j.id = v.job
JOIN step s ON s.id = v.step
"""

UNREAD = f"""
SELECT u.id, i.name AS instrument, {_utc("u.at")} AS utc, u.kind, u.reason,
    hex(substr(c.raw, u.place + 1, u.length)) AS bytes, j.ref AS job
FROM unread u
JOIN chunk c ON c.id = u.chunk
JOIN link l ON l.id = c.link
JOIN instrument i ON i.id = l.instrument
LEFT JOIN job j ON j.id = c.job
"""

READ_AGAIN = f"""
SELECT n.id, i.name AS instrument, n.reading, k.shown AS kept, k.unit AS kept_unit, {_shown("n")} AS now,
    f.unit AS now_unit, f.quantity, e.facts ->> 'profile' AS profile, e.facts ->> 'reason' AS reason, n.event
FROM reread n
JOIN event e ON e.id = n.event
JOIN link l ON l.id = n.link
JOIN instrument i ON i.id = l.instrument
LEFT JOIN readings k ON k.id = n.reading
LEFT JOIN form f ON f.id = n.form
LEFT JOIN power_of_ten p ON p.decimals = max(f.decimals, 0)
"""

VIEWS = {
    "readings": READINGS,
    "captures": CAPTURES,
    "verdicts": VERDICTS,
    "not_read": UNREAD,
    "read_again": READ_AGAIN,
}
"""Name and SQL of each view."""
