"""The record's reader on a bench's SQLite: rows in, typed records out (`meterlog.record.reader`)."""

from __future__ import annotations

import contextlib
import json
import re
from collections import defaultdict
from functools import cached_property
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import TYPED, Form, Reading
from meterlog.base.recording import Event
from meterlog.record.acts import ActKind
from meterlog.record.history import ACTS, StepMeasurement, what_was_found
from meterlog.record.kept import ConversationRecord, PersonalField, StepRecord, TextRecord
from meterlog.record.standing import standing
from meterlog.store.from_rows import (
    act_record,
    capture_record,
    chunk_record,
    commit_id,
    form,
    instrument_record,
    job_record,
    reading_record,
    verdict_record,
)
from meterlog.store.sqlite import open_reader

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from meterlog.record.kept import (
        ActRecord,
        CaptureRecord,
        ChunkRecord,
        CommitId,
        JobRecord,
        ReadingRecord,
        VerdictRecord,
    )
    from meterlog.record.reader import ReadingPlace, RowKind
    from meterlog.store.sqlite import Connection

CONTEXT_READINGS = 600
"""Readings of all links among which those around a capture are looked for."""
LATEST_READINGS = 2_400
"""Readings of all links among which the latest are looked for."""
JOBS_LOOKED_AT = 200
"""Jobs with a check among which one is looked for that measured it: a check that none did is in every job."""

BENCH_IN_LINE = "substr(z.line, 17, 32)"
"""SQL for the bench's identity in a seal's header line."""


def _typed_facts(capture: str) -> str:
    """SQL for what was typed of a row of `capture`, as its act holds it; NULL for any other.

    A step's typed captures and the acts that brought them stand in one order.
    """

    def acts(event: str) -> str:
        same = f"{event}.job = {capture}.job AND {event}.step = {capture}.step"
        return f"FROM event {event} WHERE {same} AND {event}.kind = '{ActKind.READING_TYPED}'"

    before = f"o.step = {capture}.step AND o.how = '{TYPED}' AND o.id < {capture}.id"
    in_order = f"(SELECT count(*) {acts('p')} AND p.id < e.id) = (SELECT count(*) FROM capture o WHERE {before})"
    return f"CASE WHEN {capture}.how = '{TYPED}' THEN (SELECT e.facts {acts('e')} AND {in_order}) END"


_COMMIT = f"{BENCH_IN_LINE} AS bench, z.number AS commit_number"
_JOBS = f"""
    SELECT t.*, x.name AS procedure_name, {_COMMIT},
        (SELECT CASE WHEN e.kind = '{ActKind.JOB_CLOSED}' THEN e.at_utc_ms END FROM event e WHERE e.job = t.id
            AND e.kind IN ('{ActKind.JOB_CLOSED}', '{ActKind.JOB_TAKEN_UP}') ORDER BY e.id DESC LIMIT 1)
        AS closed_utc_ms
    FROM job t LEFT JOIN text x ON x.sha256 = t.procedure {{sealed}} WHERE {{wanted}}
"""
WORDS_MOST = 6
RECENT_JOBS = 500
"""Jobs whose personal fields are searched: they stand in no index, so that what is erased stays nowhere."""
_HOLDS = f"""t.id IN (
    SELECT rowid FROM job_words WHERE job_words MATCH ? UNION
    SELECT job FROM disclosure WHERE job > (SELECT max(id) FROM job) - {RECENT_JOBS}
        AND content IS NULL AND value LIKE ? ESCAPE '\\'
)"""
"""Whether a job holds a word: its number, appliance and plate by full text, its names and notes as they stand."""
_CAPTURES = f"""
    SELECT t.*, l.opened_utc_ms, i.name, i.profile, i.facts, {_typed_facts("t")} AS typed, {_COMMIT} FROM capture t
    LEFT JOIN link l ON l.id = t.link LEFT JOIN instrument i ON i.id = l.instrument
    {{sealed}} WHERE ({{wanted}}) ORDER BY t.id
"""
_CHUNKS = """
    SELECT c.*, i.name, i.profile, i.facts FROM chunk c JOIN link l ON l.id = c.link
    JOIN instrument i ON i.id = l.instrument WHERE ({wanted}) ORDER BY c.id
"""
_NEWEST_OF_EACH_APPLIANCE = """
    WITH RECURSIVE type (appliance) AS (
        SELECT min(appliance) FROM job UNION ALL
        SELECT (SELECT min(j.appliance) FROM job j WHERE j.appliance > type.appliance)
        FROM type WHERE type.appliance IS NOT NULL
    )
    SELECT appliance, (SELECT max(j.id) FROM job j WHERE j.appliance = type.appliance) AS job
    FROM type WHERE appliance IS NOT NULL
"""
"""SQL for each type of appliance with its newest job: one step of the index a type."""
_MEASURED = "j.appliance = ? AND EXISTS (SELECT 1 FROM capture c WHERE c.step = s.id)"
_NEWEST_BY_ID = (
    f"SELECT s.id, s.job FROM step s JOIN job j ON j.id = s.job WHERE s.key = ? AND {_MEASURED} "
    "ORDER BY s.id DESC LIMIT ?"
)
_NEWEST_BY_TIME = (  # ids tell no order between benches; `+`: each job's step is found by its job
    f"SELECT s.id, s.job FROM job j CROSS JOIN step s ON s.job = j.id WHERE +s.key = ? AND {_MEASURED} "
    "ORDER BY j.opened_utc_ms DESC LIMIT ?"
)

SHIFT = 40
"""Bits that a bench's own ids may take; above them stands which bench it is, where several are read as one."""


def _sealed(kind: str, job: str = "t.job") -> str:
    """SQL that joins a row `t` with the seal that closes over it."""
    return (
        f"LEFT JOIN leaf f ON f.job IS {job} AND f.kind = '{kind}' AND f.subject = t.id "
        "LEFT JOIN seal z ON z.number = f.seal"
    )


@contextlib.contextmanager
def reading(path: Path) -> Iterator[StoredRecord]:
    """A reader of a database, for a while. Raises: CannotDo when it is not there or holds no bench."""
    db = open_reader(path)
    try:
        yield StoredRecord(db)
    finally:
        db.close()


class StoredRecord:
    """A `RecordReader` on a read-only connection with named rows."""

    def __init__(self, db: Connection) -> None:
        self._db = db
        self._read_forms: dict[int, Form] = {}

    def _rows(self, sql: str, *values: Any) -> Iterator[Any]:
        return iter(self._db.execute(sql, values))

    # ---- commits and jobs ----

    def seals(self, first: int = 0) -> Iterator[str]:
        return (row["line"] for row in self._rows("SELECT line FROM seal WHERE number >= ? ORDER BY number", first))

    def identities(self) -> list[str]:
        return [row["identity"] for row in self._rows("SELECT identity FROM bench ORDER BY rowid")]

    def seals_of(self, job: int) -> list[str]:
        sql = "SELECT line FROM seal WHERE number IN (SELECT seal FROM leaf WHERE job = ?) ORDER BY number"
        return [row["line"] for row in self._rows(sql, job)]

    def jobs(self, *, most: int | None = None, before: int | None = None, words: Sequence[str] = ()) -> list[JobRecord]:
        held = words[:WORDS_MOST]
        patterns = [text for word in held for text in (_as_words(word), f"%{_literally(word)}%")]
        wanted = " AND ".join(["t.id < ?", *[_HOLDS] * len(held)]) + " ORDER BY t.id DESC LIMIT ?"
        return self._jobs(wanted, 2**62 if before is None else before, *patterns, -1 if most is None else most)

    def job(self, name: str | int) -> JobRecord | None:
        return next(iter(self._jobs(f"t.{'ref' if isinstance(name, str) else 'id'} = ?", name)), None)

    def _jobs(self, wanted: str, *values: Any) -> list[JobRecord]:
        sql = _JOBS.format(sealed=_sealed("job", "t.id"), wanted=wanted)
        return [job_record(row) for row in self._rows(sql, *values)]

    def steps(self, job: int) -> list[StepRecord]:
        return self._steps("job = ?", job)

    def _steps(self, wanted: str, *values: Any) -> list[StepRecord]:
        rows = self._rows(f"SELECT * FROM step WHERE {wanted} ORDER BY position", *values)
        return [StepRecord(**dict(row)) for row in rows]

    # ---- captures, verdicts, acts ----

    def captures(self, job: int | None = None) -> list[CaptureRecord]:
        return self._captures("? IS NULL OR t.job = ?", job, job) if job is None else self._captures("t.job = ?", job)

    def capture(self, number: int) -> CaptureRecord | None:
        return next(iter(self._captures("t.id = ?", number)), None)

    def _captures(self, wanted: str, *values: Any) -> list[CaptureRecord]:
        sql = _CAPTURES.format(sealed=_sealed("capture"), wanted=wanted)
        return [capture_record(row, self._form(row["form"])) for row in self._rows(sql, *values)]

    def verdicts(self, job: int | None = None) -> list[VerdictRecord]:
        return self._verdicts("1") if job is None else self._verdicts("t.job = ?", job)

    def verdict(self, number: int) -> VerdictRecord | None:
        return next(iter(self._verdicts("t.id = ?", number)), None)

    def _verdicts(self, wanted: str, *values: Any) -> list[VerdictRecord]:
        sql = f"SELECT t.*, {_COMMIT} FROM verdict t {_sealed('verdict')} WHERE {wanted} ORDER BY t.id"
        return [verdict_record(row) for row in self._rows(sql, *values)]

    def acts(self, job: int | None = None, kinds: Sequence[str] = ()) -> list[ActRecord]:
        wanted = ["t.job = ?"] if job is not None else []
        wanted += [f"t.kind IN ({', '.join('?' * len(kinds))})"] if kinds else []
        return self._acts(" AND ".join(wanted) or "1", *([job] if job is not None else []), *kinds)

    def _acts(self, wanted: str, *values: Any) -> list[ActRecord]:
        sql = f"SELECT t.*, {_COMMIT} FROM event t {_sealed('event')} WHERE {wanted} ORDER BY t.id"
        return [act_record(row) for row in self._rows(sql, *values)]

    def measurements(self, step: str, appliance: str, most: int) -> list[StepMeasurement]:
        benches = self._benches()
        rows = self._rows(_NEWEST_BY_TIME if benches else _NEWEST_BY_ID, step, appliance, most)
        of_job = {row["job"]: row["id"] for row in rows}
        jobs, steps = json.dumps([*of_job]), json.dumps([*of_job.values()])
        these, named = "IN (SELECT value FROM json_each(?))", "({})".format(", ".join("?" * len(ACTS)))
        acts: dict[int, list[ActRecord]] = defaultdict(list)
        for act in self._acts(f"t.job {these} AND t.kind IN {named}", jobs, *ACTS):
            acts[act.job or 0].append(act)
        verdicts = self._verdicts(f"t.job {these} AND t.step {these}", jobs, steps)
        reached, counts = {each.capture: each for each in verdicts}, {each.id for each in standing(verdicts).values()}
        known_jobs = {job.id: job for job in self._jobs(f"t.id {these}", jobs)}
        known_steps = {each.id: each for each in self._steps(f"id {these}", steps)}
        found = []
        for capture in self._captures(f"t.step {these}", steps):
            verdict = reached.get(capture.id)
            value, unit = what_was_found(capture, verdict)
            found.append(
                StepMeasurement(
                    job=known_jobs[capture.job],
                    step=known_steps[capture.step],
                    capture=capture,
                    verdict=verdict,
                    value=value,
                    unit=unit,
                    stands=verdict is not None and verdict.id in counts,
                    acts=tuple(acts[capture.job]),
                    bench=benches.get(capture.job >> SHIFT, ""),
                )
            )
        return sorted(found, key=lambda each: (each.job.opened_utc_ms, each.capture.id))

    def _benches(self) -> dict[int, str]:
        """The names of the benches that are read as one, by what stands above their ids; none on a bench's own."""
        known = [*self._rows("SELECT 1 FROM sqlite_master WHERE name = 'mirrored'")]
        return {row["place"]: row["label"] for row in self._rows("SELECT place, label FROM mirrored")} if known else {}

    def measured_checks(self) -> dict[str, list[StepRecord]]:
        newest = self._rows(_NEWEST_OF_EACH_APPLIANCE)
        newest_steps = (
            "SELECT s.id FROM step s JOIN job j ON j.id = s.job WHERE s.key = step.key AND j.appliance = ? "
            f"ORDER BY s.id DESC LIMIT {JOBS_LOOKED_AT}"
        )
        measured = f"SELECT 1 FROM ({newest_steps}) s JOIN capture c ON c.step = s.id"
        wanted = f"job = ? AND quantity != '' AND EXISTS ({measured})"
        found = {row["appliance"]: self._steps(wanted, row["job"], row["appliance"]) for row in newest}
        return {appliance: steps for appliance, steps in found.items() if steps}

    def commit_of(self, kind: str, number: int) -> CommitId | None:
        sql = f"SELECT {_COMMIT} FROM leaf f JOIN seal z ON z.number = f.seal WHERE f.kind = ? AND f.subject = ?"
        return next((commit_id(row) for row in self._rows(sql, kind, number)), None)

    # ---- texts and personal fields ----

    def text(self, sha256: str) -> TextRecord | None:
        rows = self._rows("SELECT sha256, kind, name, body FROM text WHERE sha256 = ?", sha256)
        return next((TextRecord(**dict(row)) for row in rows), None)

    def personal(self, job: int, *, with_content: bool = False) -> list[PersonalField]:
        return self._personal("job = ? AND name != ''", job, content="content" if with_content else "NULL")

    def photograph(self, digest: str) -> PersonalField | None:
        return next(iter(self._personal("digest = ? AND content IS NOT NULL", digest)), None)

    def _personal(self, wanted: str, *values: Any, content: str = "content") -> list[PersonalField]:
        sql = (
            "SELECT digest, job, salt, name, value, content IS NOT NULL AS is_photograph, "
            f"{content} AS content FROM disclosure WHERE {wanted} ORDER BY rowid"
        )
        return [PersonalField(**dict(row)) for row in self._rows(sql, *values)]

    # ---- bytes and readings ----

    @cached_property
    def forms(self) -> Mapping[int, Form]:
        return {row["id"]: form(row) for row in self._rows("SELECT * FROM form")}

    def _form(self, number: int) -> Form:
        """One form by its id, read once: a page needs few of many."""
        if number not in self._read_forms:
            self._read_forms[number] = form(next(self._rows("SELECT * FROM form WHERE id = ?", number)))
        return self._read_forms[number]

    def numbers(self, kind: RowKind) -> list[int]:
        return [row[0] for row in self._rows(f"SELECT id FROM {kind} ORDER BY id")]

    def instruments(self) -> list[str]:
        return [row["name"] for row in self._rows("SELECT DISTINCT name FROM instrument ORDER BY name")]

    def links_opened(self) -> dict[int, int]:
        return dict(tuple(row) for row in self._rows("SELECT id, opened_monotonic_ms FROM link"))

    def places(self, conversation: ConversationRecord) -> Iterator[ReadingPlace]:
        rows = self._rows(
            "SELECT r.chunk, r.place, r.id, r.form, r.counts, r.at + l.opened_monotonic_ms "
            "FROM chunk c JOIN link l ON l.id = c.link JOIN reading r "
            "ON r.id BETWEEN c.first_reading AND c.first_reading + c.readings - 1 "
            f"WHERE c.link IN ({', '.join('?' * len(conversation.links))}) ORDER BY r.id",
            *conversation.links,
        )
        return (tuple(row) for row in rows)

    def conversations(self, instrument: str | None = None) -> list[ConversationRecord]:
        rows = self._rows(
            "SELECT group_concat(l.id) AS links, i.name, i.profile, i.facts FROM link l "
            "JOIN instrument i ON i.id = l.instrument WHERE ? IS NULL OR i.name = ? "
            "GROUP BY i.id, l.boot, l.opened_monotonic_ms ORDER BY min(l.id)",
            instrument, instrument,
        )  # fmt: skip
        return [
            ConversationRecord(
                links=tuple(sorted(map(int, row["links"].split(",")))), instrument=instrument_record(row)
            )
            for row in rows
        ]

    def chunks(self, conversation: ConversationRecord, first: int = 0, last: int = 2**62) -> list[ChunkRecord]:
        wanted = f"c.link IN ({', '.join('?' * len(conversation.links))}) AND c.id BETWEEN ? AND ?"
        return [
            chunk_record(row) for row in self._rows(_CHUNKS.format(wanted=wanted), *conversation.links, first, last)
        ]

    def chunks_of(self, capture: CaptureRecord) -> list[ChunkRecord]:
        wanted = (
            "c.link = ? AND c.id BETWEEN (SELECT chunk FROM reading WHERE id = ?) "
            "AND (SELECT chunk FROM reading WHERE id = ?)"
        )
        run = (capture.link, capture.capture.first, capture.capture.last)
        return [chunk_record(row) for row in self._rows(_CHUNKS.format(wanted=wanted), *run)]

    def timeline(self, chunks: Iterable[ChunkRecord]) -> Iterator[Event]:
        for chunk in chunks:
            yield from self._events(chunk)

    def _events(self, chunk: ChunkRecord) -> list[Event]:
        """What was sent in the moment of an outcome stands before the bytes that were in no outcome until then."""
        spans = self._rows(
            "SELECT DISTINCT place, length, at, '' FROM reading WHERE id BETWEEN ? AND ? "
            "UNION ALL SELECT place, length, at, reason FROM unread WHERE chunk = ? AND length > 0",
            chunk.first_reading, chunk.first_reading + chunk.readings - 1, chunk.id,
        )  # fmt: skip
        events, came = [], 0
        for place, length, at, reason in sorted(map(tuple, spans)):
            came = max(came, _arrived(at, reason))
            events.append(((came, place, 1), Event(came / 1000.0, "in", chunk.raw[place : place + length])))
        for place, at, data in self._rows("SELECT place, at, raw FROM sent WHERE chunk = ? ORDER BY id", chunk.id):
            events.append(((at, place, 0), Event(at / 1000.0, "out", bytes(data))))
        return [event for _, event in sorted(events, key=lambda entry: entry[0])]

    def readings(self, chunk: ChunkRecord) -> list[Reading]:
        rows = self._rows(
            "SELECT form, counts FROM reading WHERE id BETWEEN ? AND ? ORDER BY id",
            chunk.first_reading, chunk.first_reading + chunk.readings - 1,
        )  # fmt: skip
        return [Reading(self.forms[form], counts) for form, counts in rows]

    def frames(self, capture: CaptureRecord, around_ms: int = 0) -> list[ReadingRecord]:
        if capture.link is None:
            return []
        run, beside = capture.capture, CONTEXT_READINGS if around_ms else 0
        rows = self._rows(
            "SELECT r.*, l.opened_utc_ms + r.at AS utc_ms, substr(c.raw, r.place + 1, r.length) AS frame "
            "FROM reading r JOIN chunk c ON c.id = r.chunk JOIN link l ON l.id = c.link "
            "WHERE r.id BETWEEN ? AND ? AND c.link = ? AND "
            "(r.id BETWEEN ? AND ? OR c.step IS ? AND r.at BETWEEN ? AND ?) ORDER BY r.id",
            run.first - beside, run.last + beside, capture.link, run.first, run.last, capture.step,
            round(run.started * 1000) - around_ms, round(run.ended * 1000) + around_ms,
        )  # fmt: skip
        return [reading_record(row, self._form(row["form"])) for row in rows]

    def sent_before(self, reading: ReadingRecord) -> bytes:
        rows = self._rows(
            "SELECT raw FROM sent WHERE chunk = ? AND place <= ? ORDER BY id DESC LIMIT 1", reading.chunk, reading.place
        )
        return next((bytes(row["raw"]) for row in rows), b"")

    def latest(self, within_ms: int) -> list[tuple[str, int, Reading]]:
        rows = self._rows(
            "SELECT i.name, l.opened_utc_ms + r.at AS utc_ms, r.form, r.counts FROM reading r "
            "JOIN chunk c ON c.id = r.chunk JOIN link l ON l.id = c.link JOIN instrument i ON i.id = l.instrument "
            "WHERE r.id > (SELECT max(id) FROM reading) - ? ORDER BY r.id",
            LATEST_READINGS,
        )
        found = [(name, utc_ms, Reading(self._form(number), counts)) for name, utc_ms, number, counts in list(rows)]
        newest = max((utc_ms for _, utc_ms, _ in found), default=0)
        return [each for each in found if each[1] > newest - within_ms]

    def run(self, capture: CaptureRecord) -> tuple[tuple[float, Reading], ...]:
        rows = self._rows(
            "SELECT r.at + l.opened_monotonic_ms - this.opened_monotonic_ms, r.form, r.counts "
            "FROM reading r JOIN chunk c ON c.id = r.chunk JOIN link l ON l.id = c.link "
            "JOIN instrument i ON i.id = l.instrument, link this JOIN instrument mine ON mine.id = this.instrument "
            "WHERE r.id BETWEEN ? AND ? AND this.id = ? AND i.name = mine.name ORDER BY r.id",
            capture.capture.first, capture.capture.last, capture.link,
        )  # fmt: skip
        return tuple((at / 1000.0, Reading(self.forms[form], counts)) for at, form, counts in rows)

    def meanwhile(self, capture: CaptureRecord, quantities: frozenset[str]) -> tuple[tuple[float, Reading], ...]:
        wanted = [number for number, form in self.forms.items() if form.quantity in quantities]
        rows = self._rows(
            f"SELECT r.at + o.opened_monotonic_ms - l.opened_monotonic_ms AS at, r.form, r.counts FROM link l "
            f"JOIN link o ON o.boot = l.boot AND o.instrument != l.instrument JOIN chunk c ON c.link = o.id "
            f"JOIN reading r ON r.id BETWEEN c.first_reading AND c.first_reading + c.readings - 1 "
            f"WHERE l.id = ? AND c.job = ? AND r.form IN ({', '.join('?' * len(wanted))}) "
            f"AND r.at + o.opened_monotonic_ms - l.opened_monotonic_ms BETWEEN ? AND ? ORDER BY 1, r.id",
            capture.link, capture.job, *wanted,
            round(capture.capture.started * 1000), round(capture.capture.ended * 1000),
        )  # fmt: skip
        return tuple((at / 1000.0, Reading(self.forms[form], counts)) for at, form, counts in rows)


def _as_words(word: str) -> str:
    """A word for full text: as it stands, and as the beginning of a longer one."""
    quoted = word.replace('"', '""')
    return f'"{quoted}"*'


def _literally(words: str) -> str:
    return words.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


_OLD_SILENCE = re.compile(r"cut short: silence for (\d+(?:\.\d+)?) s")
"""What silence ended was kept with the time at which the silence was over until 2026-11-29; since, its last byte's."""


def _arrived(at: int, reason: str) -> int:
    """When the last byte of an outcome came, ms on the link's clock."""
    silence = _OLD_SILENCE.fullmatch(reason)
    return at - round(float(silence[1]) * 1000) if silence else at
