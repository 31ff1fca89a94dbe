"""The sheets of a job as pages; the same that `meterlog report` writes."""

from __future__ import annotations

from typing import Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound

from meterlog.base.errors import CannotDo
from meterlog.report import sheets as report
from meterlog.report.wording import fields_of
from meterlog.web.sheet import read, sheet


async def page(datasette: Any, request: Any) -> Any:
    ref = unquote(request.url_vars["ref"])
    try:
        found = await read(datasette, report.evidence if request.args.get("evidence") else report.handover, ref)
    except CannotDo:
        raise NotFound(f"There is no job {ref}.") from None
    template = report.TEMPLATES[type(found)]
    return await sheet(datasette, request, template, room="report", style="", **fields_of(found))
