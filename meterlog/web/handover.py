"""The sheets of a job as pages; the same that `meterlog report` writes."""

from __future__ import annotations

from typing import Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound

from meterlog.base.errors import CannotDo
from meterlog.report import sheets as report
from meterlog.web.sheet import read, sheet


async def page(datasette: Any, request: Any) -> Any:
    ref = unquote(request.url_vars["ref"])
    kind = "evidence" if request.args.get("evidence") else "handover"
    find = report.evidence if kind == "evidence" else report.handover
    try:
        card = await read(datasette, find, ref)
    except CannotDo:
        raise NotFound(f"There is no job {ref}.") from None
    return await sheet(datasette, request, f"{kind}.html", room="report", style="", **card)
