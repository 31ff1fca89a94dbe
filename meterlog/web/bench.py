"""The bench page: the step at hand, every instrument live, and the acts. The daemon does what is asked."""

from __future__ import annotations

import asyncio
from typing import Any
from urllib.parse import quote, unquote

from datasette.utils.asgi import Forbidden, Response

from meterlog.base.errors import CannotDo, MeterlogError
from meterlog.daemon import client
from meterlog.store import queries
from meterlog.web import at_hand, trades
from meterlog.web.display import displays, reading_words
from meterlog.web.sheet import database_path, read, sheet

STATUS_WITHIN_S = 2.0
ANSWER_WITHIN_S = 20.0
SEEN = "meterlog_seen"
"""The cookie that holds what was seen on a screen: a verdict's number and its job."""
WORDS = (
    "next",
    "back",
    "again",
    "skip",
    "note",
    "confirm",
    "wanting",
    "go to",
    "start",
    "stop",
    "acknowledge",
    "override",
)
"""The acts that the page may pass on."""


async def page(datasette: Any, request: Any) -> Any:
    return await sheet(datasette, request, "bench.html", **await moment(datasette, request), trades=trades.shipped())


async def fragment(datasette: Any, request: Any) -> Any:
    """The part of the page that changes with the walk, for the script to put in place."""
    found = await moment(datasette, request)
    return await sheet(datasette, request, "_at_hand.html", **found, trades=trades.shipped())


async def moment(datasette: Any, request: Any) -> dict[str, Any]:
    """The bench as it stands: its displays in words, and the step at hand."""
    try:
        status = (await ask(datasette, "status", STATUS_WITHIN_S))["status"]
    except CannotDo as lost:
        return {"lost": str(lost).splitlines()[0], "displays": [], "hand": None, "store": None}
    for link in status["links"]:
        link["readings"] = [reading_words(reading) for reading in link["readings"]]
    walk = status["walk"]
    hand = await read(datasette, at_hand.at_hand, walk, seen_by(request, walk["job"])) if walk else None
    shown = displays(status["links"], hand["walk"] if hand else None, hand["step"] if hand else None)
    return {"lost": "", "displays": shown, "hand": hand, "store": status["store"]}


def seen_by(request: Any, job: str) -> int:
    """The number of the last verdict of a job that was seen on the screen that asks."""
    number, _, of = request.cookies.get(SEEN, "").partition(".")
    return int(number) if number.isdecimal() and len(number) < 19 and unquote(of) == job else 0


async def seen(datasette: Any, request: Any) -> Any:
    """Note that what stood on this screen was seen: it may go on. For a page whose script does not run."""
    who(request)
    if request.method == "POST":
        form = await request.post_vars()
        answer = Response.redirect("/bench")
        answer.set_cookie(SEEN, f"{form.get('number', '')}.{quote(form.get('job', ''))}", samesite="lax")
        return answer
    return Response.redirect("/bench")


async def ask(datasette: Any, do: str, within_s: float = ANSWER_WITHIN_S, **more: Any) -> dict[str, Any]:
    """The daemon's answer. Raises: CannotDo."""
    return await asyncio.to_thread(client.ask, database_path(datasette), do, within_s, **more)


def who(request: Any) -> dict[str, str]:
    """Who asks and from where, for the record. Raises: Forbidden for whom the door did not name."""
    if not request.actor:
        raise Forbidden("Acts are taken through meterlog browse only.")
    return {"who": f"page, {request.actor['id']}", "whence": request.actor["whence"]}


async def act(datasette: Any, request: Any) -> Any:
    """Pass one act on; a script gets an answer, a plain form is led back to the page."""
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    form = await request.post_vars()
    word = form.get("word", "")
    if word not in WORDS:
        return await _answer(datasette, request, f"There is no act {word!r}.")
    more = {name: form[name].strip() for name in ("text", "to") if form.get(name)}
    meant = {name: form[name] for name in ("job", "step", "phase", "id") if name in form}
    return await pass_on(datasette, request, "act", word=word, **meant, **more, **asked_by)


async def pass_on(datasette: Any, request: Any, do: str, **more: Any) -> Any:
    """Ask the daemon and answer with its words."""
    try:
        await ask(datasette, do, **more)
    except MeterlogError as refused:
        return await _answer(datasette, request, str(refused))
    return await _answer(datasette, request, "")


async def _answer(datasette: Any, request: Any, refused: str) -> Any:
    if "application/json" in request.headers.get("accept", ""):
        return Response.json({"ok": not refused, "error": refused}, status=409 if refused else 200)
    if not refused:
        return Response.redirect("/bench")
    return await sheet(datasette, request, "refused.html", status=409, words=refused)


async def open_job(datasette: Any, request: Any) -> Any:
    """The form for a new job of one procedure; posted, the job is opened."""
    asked_by = who(request)
    key = request.args.get("procedure", "")
    procedure = trades.procedure(key)
    if procedure is None:
        return Response.redirect("/bench")
    if request.method != "POST":
        return await sheet(datasette, request, "open_job.html", key=key, procedure=procedure)
    form = await _filled(request)
    plate = _entries(form)
    personal = {name: form[name] for name in ("owner", "complaint", "serial number") if name in form}
    more = {name: form[name] for name in ("ref", "where") if name in form}
    return await pass_on(
        datasette, request, "open job", procedure=key, plate=plate, personal=personal, **more, **asked_by
    )


async def enter(datasette: Any, request: Any) -> Any:
    """Entries that the step at hand asks for, such as the water's mass."""
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    return await pass_on(datasette, request, "enter", entries=_entries(await _filled(request)), **asked_by)


async def _filled(request: Any) -> dict[str, str]:
    """The fields of a form that something was written into."""
    return {name: value.strip() for name, value in (await request.post_vars()).items() if value.strip()}


def _entries(form: dict[str, str]) -> dict[str, str]:
    return {name.removeprefix("plate "): value for name, value in form.items() if name.startswith("plate ")}


async def close_job(datasette: Any, request: Any) -> Any:
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    return await pass_on(datasette, request, "close job", **asked_by)


async def minute(datasette: Any, request: Any) -> Any:
    """The last minute of each display, for the trends: age in s and value, SI."""
    return Response.json(await read(datasette, queries.last_minute))
