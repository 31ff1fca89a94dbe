"""The live stream of the bench page: the daemon's announcements as server-sent events.

Every stream is one watch on the control socket. `beat` each second is the heartbeat; when nothing
comes for `SILENCE_S`, or the socket ends, `lost` is sent and the daemon is sought again. A browser
that comes back asks for the page's moment anew, so events need no memory.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from datasette.utils.asgi import Response

from meterlog.base.plain import from_plain
from meterlog.daemon.status import DisplayedReading
from meterlog.store.sqlite import lock_facts
from meterlog.web.display import reading_words
from meterlog.web.sheet import database_path

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator
    from pathlib import Path

SILENCE_S = 1.7
"""Beats come each second: after this long the daemon is lost, and the page says so within two."""
SEEK_AGAIN_S = 0.5
MOST_STREAMS = 16
EVENT_STREAM = "text/event-stream; charset=utf-8"
PLAIN = (("cache-control", "no-store"),)
FULL = "retry: 2000\nevent: full\ndata: {}\n\n"
"""For a page more than can be served: it is told so, and asks again by itself until a place is free."""
NO_DAEMON = "No daemon listens to the bench: it is started where the instruments stand."
LONGEST_LINE = 4 * 1024 * 1024
STANDS = ("job", "step", "phase", "stage", "displays")
"""What a page needs of a walk to see which of its sentences are true no more; it asks for those that are."""
PASSED_ON = ("link", "capture", "verdict", "said", "job", "store", "beat")

_open = 0
_telling: set[asyncio.Task[None]] = set()


async def stream(datasette: Any, scope: Any, receive: Any, send: Any) -> None:
    """Send events until the browser leaves."""
    global _open
    if _open >= MOST_STREAMS:
        await Response(FULL, headers=dict(PLAIN), content_type=EVENT_STREAM).asgi_send(send)
        return
    _open += 1
    try:
        await _serve(database_path(datasette), receive, send)
    finally:
        _open -= 1


async def _serve(database: Path, receive: Any, send: Any) -> None:
    telling, left = asyncio.create_task(_tell(database, send)), asyncio.create_task(_left(receive))
    _telling.add(telling)
    try:
        await asyncio.wait({telling, left}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        _telling.discard(telling)
        for task in (telling, left):
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError, OSError):
                await task


async def _left(receive: Any) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


def end_all() -> None:
    """Let every page go: the server ends. May be called from a signal's handler."""
    for telling in list(_telling):
        telling.get_loop().call_soon_threadsafe(telling.cancel)


async def _tell(database: Path, send: Any) -> None:
    headers = [(b"content-type", EVENT_STREAM.encode()), *((n.encode(), v.encode()) for n, v in PLAIN)]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    async with contextlib.aclosing(events(database)) as told:
        async for event, data in told:
            body = f"event: {event}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n".encode()
            await send({"type": "http.response.body", "body": body, "more_body": True})


async def events(database: Path) -> AsyncGenerator[tuple[str, dict[str, Any]], None]:
    """Events without end: `here` when the daemon answers, what it announces, `lost` when it does not."""
    told_lost = False
    while True:
        try:
            async with contextlib.aclosing(_watch(database)) as lines:
                async for line in lines:
                    told_lost = False
                    yield _event(line)
            why = "The daemon has ended."
        except TimeoutError:
            why = "The daemon does not answer."
        except (OSError, ValueError):
            why = NO_DAEMON
        if not told_lost:
            told_lost = True
            yield "lost", {"why": why}
        else:
            yield "still lost", {}
        await asyncio.sleep(SEEK_AGAIN_S)


async def _watch(database: Path) -> AsyncGenerator[dict[str, Any], None]:
    """The lines of one watch. Raises: TimeoutError, OSError, ValueError."""
    path = lock_facts(database).get("socket", "")
    reader, writer = await asyncio.open_unix_connection(path, limit=LONGEST_LINE)
    try:
        writer.write(b'{"do": "watch", "who": "page"}\n')
        while line := await asyncio.wait_for(reader.readline(), SILENCE_S):
            yield json.loads(line)
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


def _words(reading: dict[str, Any]) -> dict[str, Any]:
    return asdict(reading_words(from_plain(DisplayedReading, reading)))


def _event(line: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    kind = line.get("event")
    if kind == "reading":
        return "reading", {"link": line["link"], "readings": [_words(r) for r in line["readings"]]}
    if kind == "walk":
        return "walk", {name: line["walk"][name] for name in STANDS}
    if kind in PASSED_ON:
        return str(kind), {name: value for name, value in line.items() if name != "event"}
    return "here", {}
