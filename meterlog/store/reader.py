"""The record's reader on a bench's SQLite: rows in, typed records out (`meterlog.record.reader`)."""

from __future__ import annotations

import contextlib
import json
import re
from collections import defaultdict
from functools import cached_property
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import TYPED, Bound, Capture, Form, Reading, Timing, Typed
from meterlog.base.recording import Event
from meterlog.record.acts import ActKind
from meterlog.record.history import ACTS, StepMeasurement, what_was_found
from meterlog.record.kept import (
    ActRecord,
    CaptureRecord,
    ChunkRecord,
    CommitId,
    ConversationRecord,
    InstrumentRecord,
    JobRecord,
    PersonalField,
    ReadingRecord,
    StepRecord,
    TextRecord,
    VerdictRecord,
)
from meterlog.record.standing import standing
from meterlog.store.sqlite import open_reader

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from meterlog.record.reader import Kind, Place
    from meterlog.store.sqlite import Connection

BENCH_IN_LINE = "substr(z.line, 17, 32)"
"""SQL for the bench's identity in a seal's header line."""


def typed_facts(capture: str) -> str:
    """SQL for what was typed of a row of `capture`, as its act holds it; NULL for any other.

    A step's typed captures and the acts that brought them stand in one order.
    """

    def acts(event: str) -> str:
        same = f"{event}.job = {capture}.job AND {event}.step = {capture}.step"
        return f"FROM event {event} WHERE {same} AND {event}.kind = '{ActKind.READING_TYPED}'"

    before = f"o.step = {capture}.step AND o.how = '{TYPED}' AND o.id < {capture}.id"
    in_order = f"(SELECT count(*) {acts('p')} AND p.id < e.id) = (SELECT count(*) FROM capture o WHERE {before})"
    return f"CASE WHEN {capture}.how = '{TYPED}' THEN (SELECT e.facts {acts('e')} AND {in_order}) END"


def typed_of(facts: str | None) -> Typed | None:
    """What was typed, from the facts of its act."""
    if facts is None:
        return None
    kept = json.loads(facts)
    return Typed(words=kept["words"], instrument=kept["instrument"], accuracy=kept["accuracy"])


_COMMIT = f"{BENCH_IN_LINE} AS bench, z.number AS commit_number"
_CAPTURES = f"""
    SELECT t.*, l.opened_utc_ms, i.name, i.profile, i.facts, {typed_facts("t")} AS typed, {_COMMIT} FROM capture t
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

    def _rows(self, sql: str, *values: Any) -> Iterator[Any]:
        return iter(self._db.execute(sql, values))

    # ---- commits and jobs ----

    def seals(self, first: int = 0) -> Iterator[str]:
        return (row["line"] for row in self._rows("SELECT line FROM seal WHERE number >= ? ORDER BY number", first))

    def identities(self) -> list[str]:
        return [row["identity"] for row in self._rows("SELECT identity FROM bench ORDER BY rowid")]

    def jobs(self, *, most: int | None = None, before: int | None = None) -> list[JobRecord]:
        older = 2**62 if before is None else before
        return self._jobs("t.id < ? ORDER BY t.id DESC LIMIT ?", older, -1 if most is None else most)

    def job(self, ref: str) -> JobRecord | None:
        return next(iter(self._jobs("t.ref = ?", ref)), None)

    def _jobs(self, wanted: str, *values: Any) -> list[JobRecord]:
        sql = f"SELECT t.*, {_COMMIT} FROM job t {_sealed('job', 't.id')} WHERE {wanted}"
        return [_job(row) for row in self._rows(sql, *values)]

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
        return [_capture(row, self.forms[row["form"]]) for row in self._rows(sql, *values)]

    def verdicts(self, job: int | None = None) -> list[VerdictRecord]:
        return self._verdicts("1") if job is None else self._verdicts("t.job = ?", job)

    def verdict(self, number: int) -> VerdictRecord | None:
        return next(iter(self._verdicts("t.id = ?", number)), None)

    def _verdicts(self, wanted: str, *values: Any) -> list[VerdictRecord]:
        sql = f"SELECT t.*, {_COMMIT} FROM verdict t {_sealed('verdict')} WHERE {wanted} ORDER BY t.id"
        return [_verdict(row) for row in self._rows(sql, *values)]

    def acts(self, job: int | None = None, kinds: Sequence[str] = ()) -> list[ActRecord]:
        wanted = ["t.job = ?"] if job is not None else []
        wanted += [f"t.kind IN ({', '.join('?' * len(kinds))})"] if kinds else []
        return self._acts(" AND ".join(wanted) or "1", *([job] if job is not None else []), *kinds)

    def _acts(self, wanted: str, *values: Any) -> list[ActRecord]:
        sql = f"SELECT t.*, {_COMMIT} FROM event t {_sealed('event')} WHERE {wanted} ORDER BY t.id"
        return [_act(row) for row in self._rows(sql, *values)]

    def measurements(self, step: str, appliance: str, most: int) -> list[StepMeasurement]:
        benches = self._benches()
        newest = "j.opened_utc_ms" if benches else "s.id"  # ids tell no order between benches
        rows = self._rows(
            f"SELECT s.id, s.job FROM step s JOIN job j ON j.id = s.job WHERE s.key = ? AND j.appliance = ? "
            f"AND EXISTS (SELECT 1 FROM capture c WHERE c.step = s.id) ORDER BY {newest} DESC LIMIT ?",
            step, appliance, most,
        )  # fmt: skip
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
        measured = (
            "SELECT 1 FROM step s JOIN job j ON j.id = s.job JOIN capture c ON c.step = s.id WHERE s.key = step.key"
        )
        wanted = f"job = ? AND quantity != '' AND EXISTS ({measured} AND j.appliance = ?)"
        found = {row["appliance"]: self._steps(wanted, row["job"], row["appliance"]) for row in newest}
        return {appliance: steps for appliance, steps in found.items() if steps}

    def commit_of(self, kind: str, number: int) -> CommitId | None:
        sql = f"SELECT {_COMMIT} FROM leaf f JOIN seal z ON z.number = f.seal WHERE f.kind = ? AND f.subject = ?"
        return next((_commit(row) for row in self._rows(sql, kind, number)), None)

    # ---- texts and personal fields ----

    def text(self, sha256: str) -> TextRecord | None:
        rows = self._rows("SELECT sha256, kind, name, body FROM text WHERE sha256 = ?", sha256)
        return next((TextRecord(**dict(row)) for row in rows), None)

    def personal(self, job: int) -> list[PersonalField]:
        rows = self._rows("SELECT * FROM disclosure WHERE job = ? AND name != '' ORDER BY rowid", job)
        return [PersonalField(**dict(row)) for row in rows]

    # ---- bytes and readings ----

    @cached_property
    def forms(self) -> Mapping[int, Form]:
        return {row["id"]: form_of(row) for row in self._rows("SELECT * FROM form")}

    def numbers(self, kind: Kind) -> list[int]:
        return [row[0] for row in self._rows(f"SELECT id FROM {kind} ORDER BY id")]

    def instruments(self) -> list[str]:
        return [row["name"] for row in self._rows("SELECT DISTINCT name FROM instrument ORDER BY name")]

    def links_opened(self) -> dict[int, int]:
        return dict(tuple(row) for row in self._rows("SELECT id, opened_monotonic_ms FROM link"))

    def places(self, conversation: ConversationRecord) -> Iterator[Place]:
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
            ConversationRecord(links=tuple(sorted(map(int, row["links"].split(",")))), instrument=_instrument(row))
            for row in rows
        ]

    def chunks(self, conversation: ConversationRecord, first: int = 0, last: int = 2**62) -> list[ChunkRecord]:
        wanted = f"c.link IN ({', '.join('?' * len(conversation.links))}) AND c.id BETWEEN ? AND ?"
        return [_chunk(row) for row in self._rows(_CHUNKS.format(wanted=wanted), *conversation.links, first, last)]

    def chunks_of(self, capture: CaptureRecord) -> list[ChunkRecord]:
        wanted = (
            "c.link = ? AND c.id BETWEEN (SELECT chunk FROM reading WHERE id = ?) "
            "AND (SELECT chunk FROM reading WHERE id = ?)"
        )
        run = (capture.link, capture.capture.first, capture.capture.last)
        return [_chunk(row) for row in self._rows(_CHUNKS.format(wanted=wanted), *run)]

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

    def frames(self, capture: CaptureRecord) -> list[ReadingRecord]:
        rows = self._rows(
            "SELECT r.*, l.opened_utc_ms + r.at AS utc_ms, substr(c.raw, r.place + 1, r.length) AS frame "
            "FROM reading r JOIN chunk c ON c.id = r.chunk JOIN link l ON l.id = c.link "
            "WHERE r.id BETWEEN ? AND ? AND c.link = ? ORDER BY r.id",
            capture.capture.first, capture.capture.last, capture.link,
        )  # fmt: skip
        return [_reading(row, self.forms[row["form"]]) for row in rows]

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


_OLD_SILENCE = re.compile(r"cut short: silence for (\d+(?:\.\d+)?) s")
"""What silence ended was kept with the time at which the silence was over until 2026-11-29; since, its last byte's."""


def _arrived(at: int, reason: str) -> int:
    """When the last byte of an outcome came, ms on the link's clock."""
    silence = _OLD_SILENCE.fullmatch(reason)
    return at - round(float(silence[1]) * 1000) if silence else at


# ---- rows into records ----


def form_of(row: Mapping[str, Any]) -> Form:
    """The form of a row of the table `form`."""
    return Form(
        channel=row["channel"],
        quantity=row["quantity"],
        mode=row["mode"],
        unit=row["unit"],
        scale=row["scale"],
        offset=row["offset"],
        decimals=row["decimals"],
        width=row["width"],
        negative_zero=bool(row["negative_zero"]),
        bound=Bound(row["bound"]) if row["bound"] else None,
        flags=tuple(row["flags"].split(", ")) if row["flags"] else (),
        range=row["range"],
        range_top=row["range_top"],
    )


def _commit(row: Any) -> CommitId | None:
    return None if row["commit_number"] is None else CommitId(row["bench"], row["commit_number"])


def _job(row: Any) -> JobRecord:
    return JobRecord(
        id=row["id"],
        ref=row["ref"],
        appliance=row["appliance"],
        procedure=row["procedure"],
        plate=json.loads(row["plate"]),
        digests=tuple(json.loads(row["digests"])),
        opened_utc_ms=row["opened_utc_ms"],
        commit=_commit(row),
    )


def _capture(row: Any, form: Form) -> CaptureRecord:
    return CaptureRecord(
        id=row["id"],
        job=row["job"],
        step=row["step"],
        capture=Capture(
            form=form,
            counts=row["counts"],
            count=row["count"],
            spread=row["spread"],
            deviation=row["deviation"],
            started=row["started"] / 1000.0,
            ended=row["ended"] / 1000.0,
            first=row["first_reading"],
            last=row["last_reading"],
            how=row["how"],
            proof=tuple((first, last) for first, last in json.loads(row["proof"])),
            timing=Timing(*json.loads(row["timing"])) if row["timing"] else None,
            typed=typed_of(row["typed"]),
        ),
        link=row["link"],
        instrument=None if row["link"] is None else _instrument(row),
        opened_utc_ms=row["opened_utc_ms"],
        commit=_commit(row),
    )


def _instrument(row: Any) -> InstrumentRecord:
    return InstrumentRecord(name=row["name"], profile=row["profile"], facts=row["facts"])


def _chunk(row: Any) -> ChunkRecord:
    return ChunkRecord(
        id=row["id"],
        link=row["link"],
        job=row["job"],
        step=row["step"],
        at=row["at"],
        first_reading=row["first_reading"],
        readings=row["readings"],
        raw=bytes(row["raw"]),
        instrument=_instrument(row),
    )


def _reading(row: Any, form: Form) -> ReadingRecord:
    return ReadingRecord(
        id=row["id"],
        chunk=row["chunk"],
        utc_ms=row["utc_ms"],
        at=row["at"],
        reading=Reading(form, row["counts"]),
        place=row["place"],
        frame=bytes(row["frame"]),
    )


_VERDICT_COLUMNS = (
    "id", "job", "step", "capture", "outcome", "why", "result", "procedure", "profile", "facts", "program",
    "supersedes", "reason", "at_utc_ms",
)  # fmt: skip
_ACT_COLUMNS = ("id", "kind", "at_utc_ms", "monotonic_ms", "boot", "job", "step", "link", "who", "whence")


def _verdict(row: Any) -> VerdictRecord:
    columns = {name: row[name] for name in _VERDICT_COLUMNS}
    return VerdictRecord(**columns, context=json.loads(row["context"]), commit=_commit(row))


def _act(row: Any) -> ActRecord:
    columns = {name: row[name] for name in _ACT_COLUMNS}
    return ActRecord(**columns, facts=json.loads(row["facts"]), commit=_commit(row))
