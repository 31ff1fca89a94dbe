"""One job on one card, its photographs, and taking a photograph in."""

from __future__ import annotations

import base64
from typing import Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound, Response

from meterlog.report.card import card_of
from meterlog.report.wording import fields_of
from meterlog.web import bench
from meterlog.web.photograph import image_type, without_metadata
from meterlog.web.sheet import read, sheet


async def page(datasette: Any, request: Any) -> Any:
    card = await read(datasette, card_of, unquote(request.url_vars["ref"]))
    if card is None:
        raise NotFound(f"There is no job {unquote(request.url_vars['ref'])}.")
    return await sheet(datasette, request, "job.html", **fields_of(card))


async def photo(datasette: Any, request: Any) -> Any:
    """A photograph; its type is told by its first bytes, and a browser never guesses another."""
    found = await read(datasette, lambda record: record.photograph(request.url_vars["digest"]))
    kind = image_type(found.content) if found and found.content else None
    if found is None or kind is None:
        raise NotFound("There is no such photograph, or it was erased.")
    headers = {"content-security-policy": "default-src 'none'"}
    return Response(found.content, headers=headers, content_type=kind)


async def add_photo(datasette: Any, request: Any) -> Any:
    """Take a photograph (the body's bytes) and hand it to the daemon, which keeps it apart from the evidence."""
    asked_by = bench.who(request)
    ref = unquote(request.url_vars["ref"])
    name = " ".join(request.args.get("name", "").split())[:80] or "photograph"
    job = await read(datasette, lambda record: record.job(ref))
    if request.method != "POST" or job is None:
        return Response.json({"ok": False, "error": f"There is no job {ref}."}, status=404)
    if job.closed_utc_ms:
        return Response.json({"ok": False, "error": f"Job {ref} is closed: no photograph is added to it."}, status=409)
    try:
        content = without_metadata(await request.post_body())
    except ValueError:
        return Response.json({"ok": False, "error": "A photograph is a JPEG, PNG or WebP picture."}, status=415)
    coded = base64.b64encode(content).decode()
    kind = image_type(content)
    return await bench.pass_on(datasette, request, "photo", job=ref, name=name, type=kind, content=coded, **asked_by)
