"""One job on one card, its photographs, and taking a photograph in."""

from __future__ import annotations

import base64
from typing import Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound, Response

from meterlog.report.card import card_of
from meterlog.store import queries
from meterlog.web import bench
from meterlog.web.sheet import read, sheet

LARGEST_PHOTO = 8_000_000


async def page(datasette: Any, request: Any) -> Any:
    card = await read(datasette, card_of, unquote(request.url_vars["ref"]))
    if card is None:
        raise NotFound(f"There is no job {unquote(request.url_vars['ref'])}.")
    return await sheet(datasette, request, "job.html", **card)


async def photo(datasette: Any, request: Any) -> Any:
    """A photograph; its type is told by its first bytes, and a browser never guesses another."""
    found = await read(datasette, queries.photo, request.url_vars["digest"])
    kind = image_type(found["content"]) if found else None
    if found is None or kind is None:
        raise NotFound("There is no such photograph, or it was erased.")
    headers = {"content-security-policy": "default-src 'none'"}
    return Response(found["content"], headers=headers, content_type=kind)


async def add_photo(datasette: Any, request: Any) -> Any:
    """Take a photograph (the body's bytes) and hand it to the daemon, which keeps it apart from the evidence."""
    asked_by = bench.who(request)
    ref = unquote(request.url_vars["ref"])
    name = " ".join(request.args.get("name", "").split())[:80] or "photograph"
    length = request.headers.get("content-length", "")
    if request.method != "POST" or not length.isdecimal() or int(length) > LARGEST_PHOTO:
        return Response.json({"ok": False, "error": "A photograph is at most 8 MB."}, status=413)
    content = await request.post_body()
    kind = image_type(content)
    if kind is None:
        return Response.json({"ok": False, "error": "A photograph is a JPEG, PNG or WebP picture."}, status=415)
    coded = base64.b64encode(content).decode()
    return await bench.pass_on(datasette, request, "photo", job=ref, name=name, type=kind, content=coded, **asked_by)


def image_type(content: bytes) -> str | None:
    """The media type of a JPEG, PNG or WebP by its signature, None for anything else."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    return "image/webp" if content[:4] == b"RIFF" and content[8:12] == b"WEBP" else None
