"""The live stream over a control server of our own making: what it passes on, and when it says that nothing comes."""

import asyncio
import contextlib
import json

import pytest

from meterlog.web import stream

READING = {
    "channel": "main", "quantity": "resistance", "mode": "", "shown": "-0.42", "value": -0.42, "unit": "ohm",
    "bound": None, "edge": None, "flags": ["hold", "remote"],
}  # fmt: skip
STANDS = {"job": "K-7", "step": "element", "phase": "watch", "stage": "", "displays": []}
LINES = [
    {"ok": True, "status": {}},
    {"event": "reading", "link": "multimeter", "readings": [READING], "utc_ms": 1},
    {"event": "walk", "walk": {**STANDS, "words": "Hold the probes on the points."}},
    {"event": "verdict", "outcome": "pass", "why": "well"},
    {"event": "beat", "utc_ms": 2},
]


@pytest.fixture
def database(tmp_path, monkeypatch):
    monkeypatch.setattr(stream, "SEEK_AGAIN_S", 0.01)
    monkeypatch.setattr(stream, "SILENCE_S", 0.05)
    path = tmp_path / "bench.db"
    (tmp_path / "bench.db.lock").write_text(json.dumps({"pid": 1, "socket": str(tmp_path / "control.sock")}))
    return path


def heard(database, count, lines=LINES, hold=False):
    """The first `count` events when a daemon says `lines`, then ends or (hold) says nothing more."""

    async def daemon(reader, writer):
        assert json.loads(await reader.readline()) == {"do": "watch", "who": "page"}
        writer.write(b"".join(json.dumps(line).encode() + b"\n" for line in lines))
        await writer.drain()
        if hold:
            await reader.read()  # until the page leaves
        writer.close()
        await writer.wait_closed()

    async def listen():
        server = await asyncio.start_unix_server(daemon, database.with_name("control.sock"))
        async with server, contextlib.aclosing(stream.events(database)) as events:
            return [await anext(events) for _ in range(count)]

    return asyncio.run(listen())


def test_announcements_are_passed_on_with_readings_in_words(database):
    events = heard(database, 5)
    assert [name for name, _ in events] == ["here", "reading", "walk", "verdict", "beat"]
    (words,) = events[1][1]["readings"]
    assert (words["digits"], words["unit"], words["kind"], words["flags"]) == ("−0.42", "Ω", "resistance", ("hold",))
    assert events[2][1] == STANDS  # what is true no more; the page asks for the step anew: one drawing of it


def test_a_daemon_that_ends_is_told_once_and_sought_again(database):
    names = [name for name, _ in heard(database, 4, LINES[:1])]
    assert names == ["here", "lost", "here", "lost"]


def test_a_daemon_that_falls_silent_is_told(database):
    events = heard(database, 2, LINES[:1], hold=True)
    assert events[1] == ("lost", {"why": "The daemon does not answer."})


def test_without_a_daemon_it_is_told_where_one_is_started(database):
    async def first():
        async with contextlib.aclosing(stream.events(database)) as events:
            return await anext(events)

    assert asyncio.run(first()) == (
        "lost",
        {"why": "No daemon listens to the bench: it is started where the instruments stand."},
    )


def test_a_browser_that_leaves_ends_its_stream(database):
    async def visit():
        sent = []

        async def receive():
            while not sent:
                await asyncio.sleep(0)
            return {"type": "http.disconnect"}

        async def send(message):
            sent.append(message)

        await stream._serve(database, receive, send)
        return sent

    first = asyncio.run(visit())[0]
    assert (first["status"], first["headers"][0][1]) == (200, b"text/event-stream; charset=utf-8")


def test_more_pages_than_the_bench_can_serve_are_told_so_and_ask_again(monkeypatch):
    monkeypatch.setattr(stream, "_open", stream.MOST_STREAMS)

    async def visit():
        sent = []

        async def send(message):
            sent.append(message)

        await stream.stream(None, {}, None, send)
        return sent

    begun, body = asyncio.run(visit())
    assert (begun["status"], dict(begun["headers"])[b"content-type"]) == (200, b"text/event-stream; charset=utf-8")
    assert body["body"] == b"retry: 2000\nevent: full\ndata: {}\n\n"
