"""The list of jobs, newest first, searched by words of the appliance, the plate and the job's number."""

from __future__ import annotations

from typing import Any

from meterlog.store import queries
from meterlog.web.sheet import read, sheet


async def page(datasette: Any, request: Any) -> Any:
    words = " ".join(request.args.get("words", "").split())[:100]
    before = request.args.get("before", "")
    oldest = int(before) if before.isdecimal() and len(before) < 19 else None
    found = await read(datasette, queries.jobs, oldest, words)
    shown = found[: queries.JOBS_A_PAGE]
    more = shown[-1]["id"] if len(found) > len(shown) else None
    return await sheet(
        datasette, request, "jobs.html", jobs=shown, words=words, older_than=more, is_first=oldest is None
    )
