"""Questions to a database, read-only, for commands and sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo
from meterlog.store.sqlite import open_reader

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType


class Reader:
    """A read-only view of a database. Raises: CannotDo when it is not there."""

    def __init__(self, path: Path) -> None:
        self.db = open_reader(path)

    def __enter__(self) -> Reader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.db.close()

    def _rows(self, sql: str, *values: Any) -> list[dict[str, Any]]:
        return [dict(row) for row in self.db.execute(sql, values)]

    def _one(self, sql: str, *values: Any) -> dict[str, Any] | None:
        rows = self._rows(sql, *values)
        return rows[0] if rows else None

    def jobs(self, most: int = 20) -> list[dict[str, Any]]:
        """The last jobs with tallies of the verdicts that count."""
        tallies = ", ".join(
            f"(SELECT count(*) FROM verdict v WHERE v.job = j.id AND v.outcome = '{outcome}' AND NOT EXISTS "
            f'(SELECT 1 FROM verdict later WHERE later.supersedes = v.id)) AS "{outcome}"'
            for outcome in ("pass", "fail", "undecided")
        )
        return self._rows(
            f"SELECT j.ref, j.appliance, strftime('%Y-%m-%d %H:%M', j.opened_utc_ms / 1000, 'unixepoch') AS opened, "
            f"{tallies} FROM job j ORDER BY j.id DESC LIMIT ?",
            most,
        )

    def newest_job(self) -> str:
        """The reference of the job that was opened last. Raises: CannotDo when there is none."""
        row = self._one("SELECT ref FROM job ORDER BY id DESC LIMIT 1")
        if row is None:
            raise CannotDo("no job is kept yet", "open one with: meterlog job open PROCEDURE")
        return str(row["ref"])

    def job(self, ref: str) -> dict[str, Any]:
        """A job's row. Raises: CannotDo when there is none of that reference."""
        row = self._one("SELECT * FROM job WHERE ref = ?", ref)
        if row is None:
            raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list")
        return row

    def steps(self, ref: str) -> list[dict[str, Any]]:
        """A job's steps in order, each with its captures and the verdicts on them, superseded ones left out.

        A step without either says how it was passed (looked, skipped …), and the reason that was given.
        """
        job = self.job(ref)["id"]
        passed = (
            "(SELECT json_extract(e.facts, '$.{}') FROM event e WHERE e.job = s.job AND e.step = s.id "
            "AND e.kind = 'passed' AND c.id IS NULL ORDER BY e.id DESC LIMIT 1)"
        ).format
        return self._rows(
            "SELECT s.key AS step, s.title, s.points, s.limits, c.id AS capture, k.shown, k.unit, v.id AS verdict, "
            f"coalesce(v.outcome, {passed('how')}) AS outcome, coalesce(v.why, {passed('reason')}) AS why "
            "FROM step s LEFT JOIN verdict v ON v.step = s.id AND v.job = s.job "
            "AND NOT EXISTS (SELECT 1 FROM verdict later WHERE later.supersedes = v.id) "
            "LEFT JOIN capture c ON c.id = v.capture OR (v.id IS NULL AND c.step = s.id) "
            "LEFT JOIN captures k ON k.id = c.id WHERE s.job = ? ORDER BY s.position, c.id, v.id",
            job,
        )

    def conclusions(self) -> list[dict[str, Any]]:
        """Every verdict in the order in which it was reached, and what superseded it."""
        return self._rows(
            "SELECT j.ref AS job, s.key AS step, c.shown, c.unit, v.result, v.outcome, v.id AS verdict, "
            "(SELECT later.id FROM verdict later WHERE later.supersedes = v.id) AS superseded_by "
            "FROM verdict v JOIN job j ON j.id = v.job JOIN step s ON s.id = v.step "
            "LEFT JOIN captures c ON c.id = v.capture ORDER BY v.id"
        )

    def verdict(self, number: int) -> dict[str, Any]:
        """A verdict's row with its job and step. Raises: CannotDo when there is none."""
        row = self._one(
            "SELECT v.*, j.ref, s.key AS step_key, s.title, s.points FROM verdict v JOIN job j ON j.id = v.job "
            "JOIN step s ON s.id = v.step WHERE v.id = ?",
            number,
        )
        if row is None:
            raise CannotDo(f"there is no verdict {number}", "see a job's verdicts with: meterlog job show REF")
        return row

    def capture(self, number: int) -> dict[str, Any]:
        """A capture's row together with what the view shows of it."""
        row = self._one(
            "SELECT c.*, k.shown, k.unit, k.quantity, k.instrument, k.started_utc FROM capture c "
            "JOIN captures k ON k.id = c.id WHERE c.id = ?",
            number,
        )
        assert row is not None, "verdicts point at captures that are there"
        return row

    def readings(self, capture: dict[str, Any]) -> list[dict[str, Any]]:
        """The readings of a capture, with their digits and frames, in order."""
        return self._rows(
            "SELECT v.id, v.utc, v.shown, v.unit, v.flags, v.frame FROM reading r JOIN chunk c ON c.id = r.chunk "
            "JOIN readings v ON v.id = r.id WHERE r.id BETWEEN ? AND ? AND c.link = ? ORDER BY r.id",
            capture["first_reading"],
            capture["last_reading"],
            capture["link"],
        )

    def text(self, sha256: str) -> dict[str, Any] | None:
        """A kept text by its hash."""
        return self._one("SELECT * FROM text WHERE sha256 = ?", sha256)
