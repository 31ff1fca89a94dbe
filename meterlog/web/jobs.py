"""The list of jobs, newest first, searched by words of the appliance, the plate and the job's number."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.record.overview import job_summary
from meterlog.web.sheet import read, sheet

if TYPE_CHECKING:
    from meterlog.record.overview import JobSummary
    from meterlog.record.reader import RecordReader

JOBS_A_PAGE = 20


async def page(datasette: Any, request: Any) -> Any:
    words = " ".join(request.args.get("words", "").split())[:100]
    before = request.args.get("before", "")
    oldest = int(before) if before.isdecimal() and len(before) < 19 else None
    shown, more = await read(datasette, _found, oldest, words)
    older = shown[-1].job.id if more else None
    return await sheet(
        datasette, request, "jobs.html", jobs=shown, words=words, older_than=older, is_first=oldest is None
    )


def _found(reader: RecordReader, before: int | None, words: str) -> tuple[list[JobSummary], bool]:
    """A page's jobs older than `before` that hold all words, and whether there are more."""
    jobs = reader.jobs(most=JOBS_A_PAGE + 1, before=before, words=words.split())
    return [job_summary(reader, job) for job in jobs[:JOBS_A_PAGE]], len(jobs) > JOBS_A_PAGE
