"""One job on one card: plate, complaint, photographs, the steps with captures and verdicts, what was done."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from datasette.utils.asgi import NotFound, Response

from meterlog.web import procedures, queries
from meterlog.web.sheet import read, sheet

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection

QUIET_KINDS = {"job opened", "job closed"}
"""Events that the head of the card already tells."""


async def page(datasette: Any, request: Any) -> Any:
    ref = unquote(request.url_vars["ref"])
    card = await read(datasette, card_of, ref)
    return await sheet(datasette, request, "job.html", **card)


def card_of(db: Connection, ref: str) -> dict[str, Any]:
    """Everything of a job, each capture and verdict with its step. Raises: NotFound."""
    job = queries.job(db, ref)
    if job is None:
        raise NotFound(f"There is no job {ref}.")
    procedure = procedures.read(job["procedure"], job["procedure_text"])
    steps = queries.steps(db, job["id"])
    first = frozenset(step["id"] for step in steps if procedures.first_counts(procedure, step["key"]))
    verdicts = queries.verdicts_of(db, job["id"])
    standing = queries.standing(verdicts, first)
    captures = queries.captures_of(db, job["id"])
    for step in steps:
        step["captures"] = [capture for capture in captures if capture["step"] == step["id"]]
        step["verdicts"] = [verdict for verdict in verdicts if verdict["step"] == step["id"]]
        step["verdict"] = standing.get(step["id"])
    personal = queries.personal(db, job["id"])
    return {
        "job": job,
        "procedure": procedure,
        "steps": steps,
        "tally": {word: sum(1 for v in standing.values() if v["outcome"] == word) for word in queries.OUTCOMES},
        "personal": [field for field in personal if not field["is_photo"] and field["name"] != "note"],
        "photos": [field for field in personal if field["is_photo"]],
        "notes": {field["digest"]: field["value"] for field in personal if field["name"] == "note"},
        "events": [event for event in queries.events_of(db, job["id"]) if event["kind"] not in QUIET_KINDS],
    }


async def photo(datasette: Any, request: Any) -> Any:
    """A photograph; its type is told by its first bytes, and a browser never guesses another."""
    found = await read(datasette, queries.photo, request.url_vars["digest"])
    if found is None:
        raise NotFound("There is no such photograph, or it was erased.")
    kind = image_type(found["content"])
    if kind is None:
        raise NotFound("This is no photograph.")
    headers = {"content-security-policy": "default-src 'none'", "x-content-type-options": "nosniff"}
    return Response(found["content"], headers=headers, content_type=kind)


def image_type(content: bytes) -> str | None:
    """The media type of a JPEG, PNG or WebP by its signature, None for anything else."""
    if content.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    return "image/webp" if content[:4] == b"RIFF" and content[8:12] == b"WEBP" else None
