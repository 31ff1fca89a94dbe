"""The writer: one connection, one batch, one seal a commit; nothing is acknowledged before it is committed.

Rows are gathered in memory with their final ids and written in one transaction. When the disk or
another program refuses, the batch stays and the next `commit` tries again. Beyond memory's bound what
instruments say is not kept but counted; what a person does is kept always.
"""

from __future__ import annotations

import secrets
from dataclasses import astuple
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.errors import CannotDo, MeterlogError
from meterlog.base.merkle import merkle_root
from meterlog.base.readings import Frame, Rejected
from meterlog.base.seals import NO_SEAL, Seal, digest, kept_line, line_hash, read_line, with_content
from meterlog.record.acts import ActKind
from meterlog.record.writer import canonical
from meterlog.store import leaves, sqlite
from meterlog.store.batch import Batch, Chunk, OpenLink
from meterlog.store.commit import leaf_texts, place_leaves, write_commit
from meterlog.store.known import RowNumbers
from meterlog.store.layout import migrate
from meterlog.store.schema import KNOWN_VERSION
from meterlog.store.upgrade import is_sealed_whole, job_rows, plain_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from meterlog.base.readings import Capture, StreamOutcome, Timing
    from meterlog.procedure.steps import Procedure
    from meterlog.record.head import Head
    from meterlog.record.writer import Now

DIGESTS_A_JOB = 8
"""How many digests every job row holds; decoys fill the rest, so that their number tells nothing."""

MOST_PENDING = 100_000
MOST_PENDING_BYTES = 16_000_000
"""Rows, and bytes of instruments, held in memory while the database refuses: an hour of a full bench in 50 MB."""


FOLD_MS = 60_000
"""How often the write-ahead log is folded into the file, so that it alone lacks little."""


class StoreRefuses(MeterlogError):
    """The database did not take a batch; it is kept and can be committed again."""


class Writer:
    """All that writes to one database. Not thread-safe: the bench loop owns it.

    Raises: BenchBusy, CannotDo when the file cannot be had.
    """

    def __init__(self, path: Path, now: Now, facts: Mapping[str, Any] | None = None) -> None:
        self.path = path
        self._lock = sqlite.WriterLock(path, {"started": now.utc, **(facts or {})})
        try:
            if not path.exists():
                sqlite.make_first(path.resolve(), migrate)
            self._db = sqlite.open_writer(path.resolve())
            migrate(self._db)
            self._lock.hold()
        except BaseException:
            self._lock.release()
            raise
        self.bench: str = self._db.execute("SELECT identity FROM bench ORDER BY id DESC LIMIT 1").fetchone()[0]
        last = self._db.execute("SELECT line FROM seal ORDER BY number DESC LIMIT 1").fetchone()
        self._previous = line_hash(last[0]) if last else NO_SEAL
        self._number = read_line(last[0]).number + 1 if last else 0
        self._known = RowNumbers(self._db)
        self._links: dict[int, OpenLink] = {}
        self._ended: dict[str, OpenLink] = {}
        self._link_rows: dict[int, dict[str, Any]] = {}
        self._job_leaves: dict[int, int] = {}
        self._refs: dict[int, str] = {}
        self._batch = Batch()
        self.pending = 0
        self._pending_bytes = 0
        self.not_kept = 0
        self.bytes_not_kept = 0
        self.committed_readings = self._known.last("reading")
        self._folded_ms = now.monotonic_ms
        self._saved: Path | None = None
        self._save_name = ""
        if not is_sealed_whole(self._db):
            self._seal_what_stands(now)

    def _seal_what_stands(self, now: Now) -> None:
        """Give every row that has none its leaf: once, before the first commit or when an older record is taken up."""
        batch = self._batch
        for kind, row in plain_rows(self._db):
            batch.late.append((kind, row))
            batch.leaves.append((kind, None, row["id"]))
        for job, ref, steps, digests in job_rows(self._db):
            self.resume_job(ref)
            batch.late += [("step", step) for step in steps]
            batch.leaves.append(("steps", job, job))
            if digests:
                self.event(ActKind.PERSONAL_FIELDS, now, {"digests": digests}, job=job, whence="upgrade")
        if self._number:
            facts = {"layout": KNOWN_VERSION, "program": __version__}
            self.event(ActKind.RECORD_UPGRADED, now, facts, whence="upgrade")
            self.commit(now)

    def go_on_under_new_identity(self, head: Head, now: Now, who: str) -> None:
        """From the next commit on this record is a bench of its own, which names the one whose copy it began as."""
        parent, self.bench = self.bench, secrets.token_hex(16)
        row = {
            "id": self._known.next("bench"),
            "identity": self.bench,
            "made_utc": now.utc,
            "first_seal": self._number,
            "parent": parent,
        }
        self._batch.add("bench", row)
        facts = {"parent": head.bench, "size": head.size, "root": head.root}
        self.event(ActKind.RECORD_RESTORED, now, facts, who=who, whence=who)
        self.commit(now)

    # ---- what happens on the bench ----

    def open_link(self, name: str, profile: str, facts: str, url: str, now: Now) -> int:
        """A new opening of an instrument's link; `profile` and `facts` are whole texts. Answers its id."""
        shas = self.keep_text("profile", name, profile), self.keep_text("instrument", name, facts)
        instrument = self._known.instrument(name, *shas, self._batch)
        link = self._known.next("link")
        row = {
            "id": link,
            "instrument": instrument,
            "url": kept_line(url),
            "opened_utc_ms": now.utc_ms,
            "opened_monotonic_ms": now.monotonic_ms,
            "boot": now.boot,
        }
        self._batch.add("link", row)
        self._link_rows[link] = {**row, "name": name, "profile": shas[0], "facts": shas[1]}
        self._links[link] = self._ended.pop(name, OpenLink(link)).opened_again(link)
        return link

    def close_link(self, link: int) -> None:
        """End a link; its rows stay, and its ordinals go on when the same instrument is opened again."""
        state = self._links.pop(link)
        self._end_chunk(state)
        self._ended[self._link_rows[link]["name"]] = state

    def keep_text(self, kind: str, name: str, body: str) -> str:
        """Keep a text that evidence rests on; answers its hash."""
        return self._known.text(kind, name, body, self._batch)

    def outcomes(self, link: int, outcomes: Sequence[StreamOutcome], job: int | None, step: int | None) -> bool:
        """Keep outcomes of one link in stream order; their `at` is seconds on the link's clock.

        False when memory's bound does not allow it, and they are only counted.
        """
        if self.is_full:
            self.not_kept += sum(len(outcome.readings) for outcome in outcomes if isinstance(outcome, Frame))
            self.bytes_not_kept += sum(len(outcome.raw) for outcome in outcomes)
            return False
        if outcomes:
            state = self._links[link]
            chunk = self._chunk(state, job, step, round(outcomes[0].at * 1000))
            readings, unread, size = len(chunk.readings), len(chunk.unread), len(chunk.raw)
            self._fill(chunk, outcomes)
            state.ordinal += len(chunk.readings) - readings
            self.pending += len(chunk.readings) - readings + len(chunk.unread) - unread
            self._pending_bytes += len(chunk.raw) - size
        return True

    def _fill(self, chunk: Chunk, outcomes: Sequence[StreamOutcome]) -> None:
        """Put outcomes into a chunk: the place that every reading passes."""
        raw, add, form_id, batch = chunk.raw, chunk.readings.append, self._known.form, self._batch
        for outcome in outcomes:
            at, place, length = round(outcome.at * 1000), len(raw), len(outcome.raw)
            raw += outcome.raw
            if isinstance(outcome, Frame) and outcome.readings:
                for reading in outcome.readings:
                    add((at, form_id(reading.form, batch), reading.counts, place, length))
            else:
                kind, reason = _why_unread(outcome)
                chunk.unread.append((self._known.next("unread"), chunk.id, at, kind, reason, place, length))

    @property
    def is_full(self) -> bool:
        """Whether memory's bound is reached: only ever while the database refuses."""
        return self.pending >= MOST_PENDING or self._pending_bytes >= MOST_PENDING_BYTES

    def sent(self, link: int, data: bytes, at: float, job: int | None, step: int | None) -> None:
        """Keep what was written to an instrument."""
        chunk = self._chunk(self._links[link], job, step, round(at * 1000))
        chunk.sent.append((self._known.next("sent"), chunk.id, round(at * 1000), len(chunk.raw), data))
        self.pending += 1

    def open_job(
        self, ref: str, procedure: Procedure, plate: Mapping[str, str], personal: Mapping[str, str], now: Now
    ) -> tuple[int, dict[str, int]]:
        """A new job with its steps; personal fields go behind digests. Answers (job id, step ids by key)."""
        sha = self.keep_text("procedure", procedure.key, procedure.text)
        job = self._known.next("job")
        salted = [self._disclose(job, name, value) for name, value in personal.items()]
        if len(salted) > DIGESTS_A_JOB:
            raise ValueError(f"at most {DIGESTS_A_JOB} personal fields a job")
        decoys = [self._disclose(job, "", "") for _ in range(DIGESTS_A_JOB - len(salted))]
        row = {
            "id": job,
            "ref": ref,
            "appliance": procedure.appliance,
            "procedure": sha,
            "plate": canonical(dict(plate)),
            "digests": canonical(sorted(salted + decoys)),
            "opened_utc_ms": now.utc_ms,
        }
        self._refs[job] = ref
        self._act("job", row, job)
        steps: dict[str, int] = {}
        for position, step in enumerate(procedure.steps):
            steps[step.key] = number = self._known.next("step")
            row = {"id": number, "job": job, "position": position, **step.as_shown}
            self._batch.rows.append(("step", row))
        self._batch.leaves.append(("steps", job, job))
        return job, steps

    def has_job(self, ref: str) -> bool:
        """Whether a reference is taken."""
        return ref in self._refs.values() or self._job_row(ref) is not None

    def _job_row(self, ref: str) -> int | None:
        row = self._db.execute("SELECT id FROM job WHERE ref = ?", [ref]).fetchone()
        return None if row is None else int(row[0])

    def resume_job(self, ref: str) -> tuple[int, dict[str, int]]:
        """The ids of a job that was opened before. Raises: CannotDo when there is none."""
        job = self._job_row(ref)
        if job is None:
            raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list")
        self._refs[job] = ref
        counted = self._db.execute("SELECT coalesce(max(number) + 1, 0) FROM leaf WHERE job = ?", [job]).fetchone()
        self._job_leaves.setdefault(job, counted[0])
        steps = self._db.execute("SELECT key, id FROM step WHERE job = ?", [job]).fetchall()
        return job, dict(steps)

    def capture(self, job: int, step: int, link: int | None, capture: Capture) -> int:
        """Keep a capture; its ordinals become reading ids. Without a link it is timed. Answers its id."""
        state = None if link is None else self._link_state(link)
        if state is not None:
            self._end_chunk(state)
        number = self._known.next("capture")
        form = self._known.form(capture.form, self._batch)
        row = {
            "id": number,
            "job": job,
            "step": step,
            "link": link,
            "form": form,
            "counts": capture.counts,
            "count": capture.count,
            "spread": float(capture.spread),
            "deviation": float(capture.deviation),
            "started": round(capture.started * 1000),
            "ended": round(capture.ended * 1000),
            "first_reading": None if state is None else state.reading_id(capture.first),
            "last_reading": None if state is None else state.reading_id(capture.last),
            "how": capture.how,
            "proof": "[]" if state is None else _proof(state, capture),
            "timing": canonical(_timing(capture.timing)) if capture.timing else "",
            "form_digest": self._known.form_digests[form],
        }
        self._act("capture", row, job)
        return number

    def _link_state(self, link: int) -> OpenLink:
        """The state of a link, open or just ended: a capture may come from its last readings."""
        return self._links.get(link) or next(state for state in self._ended.values() if state.id == link)

    def verdict(self, job: int, step: int, capture: int | None, row: Mapping[str, Any], now: Now) -> int:
        """Keep a verdict; `row` gives outcome, why, result, context, procedure, profile, facts, program,
        supersedes and reason. Answers its id."""
        number = self._known.next("verdict")
        kept = {"id": number, "job": job, "step": step, "capture": capture, **row, "at_utc_ms": now.utc_ms}
        self._act("verdict", kept, job)
        return number

    def event(
        self, kind: str, now: Now, facts: Mapping[str, Any] | None = None, *, job: int | None = None,
        step: int | None = None, link: int | None = None, who: str = "", whence: str = "",
    ) -> int:  # fmt: skip
        """Keep an act or a change of state. Answers its id."""
        number = self._known.next("event")
        row = {
            "id": number,
            "at_utc_ms": now.utc_ms,
            "monotonic_ms": now.monotonic_ms,
            "boot": now.boot,
            "kind": str(kind),
            "job": job,
            "step": step,
            "link": link,
            "who": who,
            "whence": whence,
            "facts": canonical(dict(facts or {})),
        }
        self._act("event", row, job)
        return number

    def read_again(
        self, link: int, profile: tuple[str, str], rows: Sequence[Sequence[Any]], reason: str, now: Now, who: str
    ) -> int:
        """Keep what another profile (name, text) makes of a link's kept bytes, beside what was kept of them.

        Rows are (start, id of the kept reading or None, reading now or None). Answers the event's id.
        """
        number, first = self._known.last("event") + 1, self._known.next("reread", len(rows))
        kept = []
        for place, (start, old, reading) in enumerate(rows, start=first):
            form = None if reading is None else self._known.form(reading.form, self._batch)
            kept.append((place, number, link, start, old, form, None if reading is None else reading.counts))
        facts = {
            "reason": reason,
            "profile": self.keep_text("profile", *profile),
            "count": len(kept),
            "digest": leaves.reread_digest(kept, self._known.form_digests),
        }
        self._batch.rereads += kept
        self.pending += len(kept)
        return self.event(ActKind.READ_AGAIN, now, facts, link=link, who=who, whence=who)

    def disclose(self, job: int | None, name: str, value: str, content: bytes | None = None) -> str:
        """Keep a personal field (a note, a photograph) apart; answers the digest that stands for it."""
        return self._disclose(job, name, value, content)

    def erase(self, job: int) -> tuple[list[str], int]:
        """Erase a job's personal fields with the next commit, those that wait for it too.

        Answers their digests, decoys among them, for the act that is the caller's `event`; and how many are no decoys.
        """
        batch = self._batch
        waiting = [(row[0], row[3]) for row in batch.disclosures if row[1] == job]
        batch.disclosures = [row for row in batch.disclosures if row[1] != job]
        kept = self._db.execute("SELECT digest, name FROM disclosure WHERE job = ?", [job]).fetchall()
        batch.erasures.extend(digest for digest, _ in kept)
        erased = [*kept, *waiting]
        return sorted(digest for digest, _ in erased), sum(1 for _, name in erased if name)

    def close_job(self, job: int, now: Now, facts: Mapping[str, Any], who: str, whence: str) -> None:
        """The act that ends a job. Its own number in the job, in its leaf, is the count of those before it."""
        self.event(ActKind.JOB_CLOSED, now, facts, job=job, who=who, whence=whence)

    # ---- committing ----

    @property
    def has_acts(self) -> bool:
        """Whether something waits that should be committed at once."""
        return bool(self._batch.rows)

    def commit(self, now: Now) -> Seal | None:
        """Write all that waits in one transaction with its seal; None when nothing waits.

        Raises: StoreRefuses, with the batch kept for the next try.
        """
        if not self._lock.is_in_place:
            raise StoreRefuses(self._lost(now))
        return self._commit(now)

    def _lost(self, now: Now) -> str:
        """What to say of a database that is no longer in its place; the first time, all that it holds is saved."""
        if self._saved is None:
            stamp = now.utc[:19].replace(":", "").replace("T", "-")
            self._save_name = f"{self.path.stem}-saved-{stamp}.db"
            self._saved = sqlite.save_copy(self._db, self._lock.database.parent, self._save_name)
        where = f"all that it held is saved in {self._saved}" if self._saved else "and no folder took a copy of it"
        return f"the database {self.path} was deleted, replaced or unmounted; {where}; end the daemon, then look"

    @property
    def is_in_place(self) -> bool:
        """Whether the database is still the file that was opened."""
        return self._lock.is_in_place

    def _commit(self, now: Now) -> Seal | None:
        for state in self._links.values():
            self._end_chunk(state)
        batch = self._batch
        if batch.is_empty:
            return None
        placed, counted = place_leaves(batch, self._job_leaves)
        texts = leaf_texts(batch, placed, self._refs, self._link_rows, self._known.form_digests)
        seal = Seal(
            bench=self.bench,
            number=self._number,
            previous=self._previous,
            root=merkle_root([text.encode() for text in texts]).hex(),
            utc=now.utc,
            monotonic_ms=now.monotonic_ms,
            boot=now.boot,
            leaves=len(texts),
            acts=len(batch.rows) - sum(1 for kind, _ in batch.rows if kind == "step"),
        )
        try:
            self._db.execute("BEGIN IMMEDIATE")
            write_commit(self._db, batch, seal, placed)
            self._db.execute("COMMIT")
        except sqlite.DatabaseError as error:
            self._roll_back()
            raise StoreRefuses(f"the database did not take {self.pending} rows: {error}") from None
        except BaseException:
            self._roll_back()
            raise
        self._number, self._previous = seal.number + 1, seal.hash
        self._job_leaves = counted
        self._link_rows = {link: row for link, row in self._link_rows.items() if link in self._links}
        self._batch = Batch()
        self.pending = self._pending_bytes = 0
        self.committed_readings = self._known.last("reading")
        if now.monotonic_ms - self._folded_ms >= FOLD_MS:
            self._folded_ms = now.monotonic_ms
            self.checkpoint("PASSIVE")
        return seal

    def close(self, now: Now) -> None:
        """Commit what waits, fold the log into the file, give the lock back.

        Raises: StoreRefuses, when the last batch was not taken.
        """
        try:
            for link in list(self._links):
                self.close_link(link)
            is_in_place = self._lock.is_in_place
            self._commit(now)
            if is_in_place:
                self.checkpoint()
            else:
                self._lost(now)
                self._saved = sqlite.save_copy(self._db, self._lock.database.parent, self._save_name)
        finally:
            self._db.close()
            self._lock.release()

    def checkpoint(self, mode: str = "TRUNCATE") -> bool:
        """Fold the write-ahead log into the file in a quiet moment; False when a reader or a full disk forbids it."""
        try:
            return not self._db.execute(f"PRAGMA wal_checkpoint({mode})").fetchone()[0]
        except sqlite.OperationalError:
            return False

    # ---- inside ----

    def _chunk(self, state: OpenLink, job: int | None, step: int | None, at: int) -> Chunk:
        chunk = state.chunk
        if chunk is not None and (chunk.job, chunk.step) == (job, step):
            return chunk
        self._end_chunk(state)
        state.chunk = Chunk(self._known.next("chunk"), state.id, job, step, at)
        return state.chunk

    def _end_chunk(self, state: OpenLink) -> None:
        """Give the chunk's readings their ids, put it into the batch with its leaf."""
        chunk, state.chunk = state.chunk, None
        if chunk is not None:
            count = len(chunk.readings)
            first = self._known.next("reading", count)
            chunk.first_reading = first
            chunk.readings = [(i, chunk.id, *row) for i, row in enumerate(chunk.readings, start=first)]
            if count:
                state.spans.append((state.ordinal - count, first, count))
            self._batch.chunks[chunk.id] = chunk
            self._batch.leaves.append(("readings", chunk.job, chunk.id))

    def _disclose(self, job: int | None, name: str, value: str, content: bytes | None = None) -> str:
        salt = secrets.token_bytes(16)
        value = value.replace("\x00", "")  # it parts a field's name, text and content in the digest
        made = digest(salt, name, with_content(value, content))
        self._batch.disclosures.append((made, job, salt, name, value, content))
        return made

    def _act(self, kind: str, row: dict[str, Any], job: int | None) -> None:
        """Put an act into the batch, after the readings of its job that came before it."""
        if job is not None:
            for state in self._links.values():
                if state.chunk is not None and state.chunk.job == job:
                    self._end_chunk(state)
        kept = {name: kept_line(value) if isinstance(value, str) else value for name, value in row.items()}
        self._batch.rows.append((kind, kept))
        self._batch.leaves.append((kind, job, row["id"]))
        self.pending += 1

    def _roll_back(self) -> None:
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")


def _why_unread(outcome: StreamOutcome) -> tuple[str, str]:
    """The kind and reason of bytes that gave no reading."""
    if isinstance(outcome, Rejected):
        return "rejected", outcome.reason
    return ("no reading", "") if isinstance(outcome, Frame) else ("skipped", "")


def _proof(state: OpenLink, capture: Capture) -> str:
    """The reading ids of the spans that proved the leads, as JSON."""
    number = state.reading_id
    return canonical([[number(first), number(last)] for first, last in capture.proof])


def _timing(timing: Timing) -> list[Any]:
    """Start, stop and their uncertainties; then, where somebody said so, in which load the probe was and when."""
    *edges, immersed = astuple(timing)
    return [*edges, immersed] if immersed else edges
