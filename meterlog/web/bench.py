"""The bench page: the step at hand, every instrument live, and the acts. The daemon does what is asked."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from datasette.utils.asgi import Forbidden, Response

from meterlog.base import units
from meterlog.base.errors import CannotDo, MeterlogError, WrongValue
from meterlog.daemon import client
from meterlog.files import procedures
from meterlog.procedure.entries import examples_of, read_entry
from meterlog.web import at_hand, stream
from meterlog.web.display import displays
from meterlog.web.sheet import database_path, read, sheet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.procedure.steps import Procedure

MINUTE_MS = 60_000
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
    "immersed",
    "type",
)
"""The acts that the page may pass on."""


async def page(datasette: Any, request: Any) -> Any:
    return await sheet(
        datasette, request, "bench.html", **await moment(datasette, request), offered=procedures.offered()
    )


async def fragment(datasette: Any, request: Any) -> Any:
    """The part of the page that changes with the walk, for the script to put in place."""
    found = await moment(datasette, request)
    return await sheet(datasette, request, "_at_hand.html", **found, offered=procedures.offered())


async def moment(datasette: Any, request: Any) -> dict[str, Any]:
    """The bench as it stands: its displays in words, and the step at hand."""
    try:
        status = await asyncio.to_thread(client.status_of, database_path(datasette), STATUS_WITHIN_S)
    except CannotDo:
        return {"lost": stream.NO_DAEMON, "displays": [], "hand": None, "store": None}
    walk = status.walk
    hand = await read(datasette, at_hand.at_hand, walk, seen_by(request, walk.job)) if walk else None
    shown = displays(status.links, walk if hand else None, hand.step if hand else None)
    return {"lost": "", "displays": shown, "hand": hand, "store": status.store}


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


async def ask_daemon(datasette: Any, do: str, /, within_s: float = ANSWER_WITHIN_S, **more: Any) -> dict[str, Any]:
    """The daemon's answer. Raises: CannotDo."""
    return await asyncio.to_thread(client.ask, database_path(datasette), do, within_s, **more)


def who(request: Any) -> dict[str, Any]:
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
    meant = {name: form[name] for name in ("job", "step", "phase", "id", "suggested") if name in form}
    return await pass_on(datasette, request, "act", word=word, **meant, **more, **asked_by)


async def pass_on(datasette: Any, request: Any, do: str, **more: Any) -> Any:
    """Ask the daemon and answer with its words."""
    try:
        await ask_daemon(datasette, do, **more)
    except MeterlogError as refused:
        return await _answer(datasette, request, without_commands(refused))
    return await _answer(datasette, request, "")


def without_commands(refused: MeterlogError) -> str:
    """Why something was refused, without what would be typed into a terminal: a page has no such line."""
    lines = [line.strip() for line in str(refused).splitlines()]
    return "\n".join(line for line in lines if "meterlog " not in line and "--" not in line)


async def _answer(datasette: Any, request: Any, refused: str, field: str = "") -> Any:
    if "application/json" in request.headers.get("accept", ""):
        body = {"ok": not refused, "error": refused, "field": field}
        return Response.json(body, status=409 if refused else 200)
    if not refused:
        return Response.redirect("/bench")
    return await sheet(datasette, request, "refused.html", status=409, words=refused)


async def open_job(datasette: Any, request: Any) -> Any:
    """The form for a new job of one procedure; posted, the job is opened, or what was typed comes back marked."""
    asked_by = who(request)
    key = request.args.get("procedure", "")
    chosen = procedures.offer(key)
    if chosen is None:
        return Response.redirect("/bench")
    if chosen.procedure is None:
        words = f"The procedure {key} can't be read: {chosen.why}. Look at it with: meterlog procedure check {key}"
        return await sheet(datasette, request, "refused.html", status=409, words=words)
    procedure, path = chosen.procedure, str(chosen.path) if chosen.is_own else key
    form = await _filled(request) if request.method == "POST" else {}
    wrong = _misread(procedure, form)
    if form and not wrong:
        wrong = await _opened(datasette, path, form, asked_by)
        if not wrong:
            return Response.redirect("/bench")
    examples = {name: examples_of(procedure, name) for name in procedure.entries}
    return await sheet(
        datasette, request, "open_job.html", status=409 if wrong else 200,
        key=key, procedure=procedure, form=form, wrong=wrong, examples=examples,
    )  # fmt: skip


def _misread(procedure: Procedure, form: Mapping[str, str]) -> dict[str, str]:
    """By field, why what was typed into it can't be read."""
    wrong = {}
    for name, text in _entries(form).items():
        try:
            read_entry(procedure, name, text)
        except WrongValue as refused:
            wrong[f"plate {name}"] = without_commands(refused)
    return wrong


async def _opened(datasette: Any, key: str, form: Mapping[str, str], asked_by: Mapping[str, Any]) -> dict[str, str]:
    """Open a job; by field, why not ("" for the job as a whole)."""
    personal = {name: form[name] for name in ("owner", "complaint", "serial number") if name in form}
    more: dict[str, Any] = {name: form[name] for name in ("ref", "where") if name in form}
    try:
        await ask_daemon(
            datasette, "open job", procedure=key, plate=_entries(form), personal=personal, **more, **asked_by
        )  # fmt: skip
    except MeterlogError as refused:
        words = without_commands(refused)
        return {"ref" if words.startswith(("there is a job", "a job's reference")) else "": words}
    return {}


async def enter(datasette: Any, request: Any) -> Any:
    """Entries that the step at hand asks for, such as the water's mass."""
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    entries = _entries(await _filled(request))
    try:
        await ask_daemon(datasette, "enter", entries=entries, **asked_by)
    except MeterlogError as refused:
        words = without_commands(refused)
        field = next((f"plate {name}" for name in entries if words.startswith(f"{name}:")), "")
        return await _answer(datasette, request, words, field)
    return await _answer(datasette, request, "")


async def _filled(request: Any) -> dict[str, str]:
    """The fields of a form that something was written into."""
    return {name: value.strip() for name, value in (await request.post_vars()).items() if value.strip()}


def _entries(form: Mapping[str, str]) -> dict[str, str]:
    return {name.removeprefix("plate "): value for name, value in form.items() if name.startswith("plate ")}


async def close_job(datasette: Any, request: Any) -> Any:
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    job = (await _filled(request)).get("job", "")
    return await pass_on(datasette, request, "close job", job=job, **asked_by)


async def lay_aside(datasette: Any, request: Any) -> Any:
    """Put the job at hand away, open as it is."""
    return await _with_reason(datasette, request, "lay aside")


async def take_up(datasette: Any, request: Any) -> Any:
    """Put a job at hand again that was laid aside or closed."""
    return await _with_reason(datasette, request, "take up")


async def _with_reason(datasette: Any, request: Any, do: str) -> Any:
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    form = await _filled(request)
    return await pass_on(datasette, request, do, job=form.get("job", ""), reason=form.get("reason", ""), **asked_by)


async def part_fitted(datasette: Any, request: Any) -> Any:
    """A part was fitted to the appliance at hand; it stands on the hand-over sheet."""
    return await _stated(datasette, request, "part fitted", ("part", "marking", "why", "check"))


async def work_done(datasette: Any, request: Any) -> Any:
    """Something was done to the appliance at hand; it stands on the hand-over sheet."""
    return await _stated(datasette, request, "work done", ("text",))


async def _stated(datasette: Any, request: Any, do: str, names: tuple[str, ...]) -> Any:
    asked_by = who(request)
    if request.method != "POST":
        return Response.redirect("/bench")
    form = await request.post_vars()
    said = {name: form.get(name, "").strip() for name in (*names, "job")}
    said |= {name: form[name] for name in form.keys() & {"suggested"}}
    return await pass_on(datasette, request, do, **said, **asked_by)


async def minute(datasette: Any, request: Any) -> Any:
    """The last minute of each display, for the trends: age in s and value, SI."""
    found = await read(datasette, lambda record: record.latest(MINUTE_MS))
    numbers = [each for each in found if each[2].value is not None]
    return Response.json(
        [
            {
                "link": link,
                "channel": reading.form.channel,
                "quantity": reading.form.quantity,
                "utc_ms": utc_ms,
                "value": reading.value,
                "digits": reading.digits,
                "unit": units.symbol(reading.form.unit),
            }
            for link, utc_ms, reading in numbers
        ]
    )
