"""What a stranger, a phone with an old code and a flood of bytes come to at the door."""

import asyncio

import pytest
import records
from edge.asked import HOME, PHONE, TOKEN, ask

from meterlog.web import serve
from meterlog.web.door import LARGEST_FORM, Door

BENCH = "http://bench.example"
COOKIE = {"cookie": f"meterlog_phone={TOKEN}"}
ABOUT_ITSELF = ["databases", "threads", "versions", "metadata", "settings", "plugins", "config", "actor", "permissions"]


@pytest.fixture(scope="module")
def application(tmp_path_factory):
    database = records.make(tmp_path_factory.mktemp("door") / "record.db")
    return serve.application(database, TOKEN, frozenset({"bench.example"}))


@pytest.mark.parametrize("name", [*ABOUT_ITSELF, *(f"{name}.json" for name in ABOUT_ITSELF)])
def test_a_phone_learns_nothing_of_the_server_itself(application, name):
    answer = ask(application, f"/-/{name}", client=PHONE, base=BENCH, headers=COOKIE)
    assert (answer.status_code, answer.text) == (404, "There is nothing at this address.")


def test_a_phone_is_given_what_the_pages_need(application):
    for path in ("/-/sheet/bench.css", "/bench", "/jobs"):
        assert ask(application, path, client=PHONE, base=BENCH, headers=COOKIE).status_code == 200


def test_an_old_code_is_told_from_none(application):
    old = ask(application, "/bench", client=PHONE, base=BENCH, headers={"cookie": "meterlog_phone=yesterday"})
    none = ask(application, "/bench", client=PHONE, base=BENCH)
    assert old.text == "This phone's code is an old one. Scan the new one that the terminal shows."
    assert none.text == "This place is open to its owner. Scan the code that its terminal shows."


def test_a_refusal_is_a_page_for_a_browser_and_data_for_a_script(application):
    page = ask(application, "/bench", client=PHONE, base=BENCH, headers={"accept": "text/html"})
    assert 'name="viewport"' in page.text
    assert "<h1>Not open</h1>" in page.text
    data = ask(application, "/bench", client=PHONE, base=BENCH, headers={"accept": "application/json"})
    assert data.json() == {
        "ok": False,
        "error": "This place is open to its owner. Scan the code that its terminal shows.",
    }


def test_a_body_is_read_to_its_bound_and_no_further():
    read = []

    async def flood():
        read.append(1)
        return {"type": "http.request", "body": b"x" * 10_000, "more_body": True}

    async def inner(scope, receive, send):
        raise AssertionError("what is too large is passed to nobody")

    said = []

    async def send(message):
        said.append(message)

    headers = [(b"host", b"127.0.0.1:8372"), (b"origin", HOME.encode())]
    scope = {"type": "http", "method": "POST", "path": "/bench/act", "headers": headers, "client": ("127.0.0.1", 1)}
    asyncio.run(Door(inner)(scope, flood, send))
    assert said[0]["status"] == 413
    assert len(read) == LARGEST_FORM // 10_000 + 1


def test_a_body_within_its_bound_comes_whole():
    came = []
    pieces = [b"word=", b"next"]

    async def receive():
        return {"type": "http.request", "body": pieces.pop(0), "more_body": bool(pieces)}

    async def inner(scope, receive, send):
        came.append(await receive())

    headers = [(b"host", b"127.0.0.1:8372"), (b"origin", HOME.encode())]
    scope = {"type": "http", "method": "POST", "path": "/bench/act", "headers": headers, "client": ("127.0.0.1", 1)}
    asyncio.run(Door(inner)(scope, receive, None))
    assert came == [{"type": "http.request", "body": b"word=next", "more_body": False}]


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("/verdict/99", "There is no verdict 99."),
        ("/job/K-70", "There is no job K-70."),
        ("/capture/abc", "Nothing is numbered abc."),
        ("/no/such/place", "No page stands at this address."),
        ("/nothing", "No page stands at this address."),
        ("/record/nothing", "No page stands at this address."),
    ],
)
def test_what_is_not_there_is_said_in_words_of_the_bench_with_a_way_on(application, path, words):
    answer = ask(application, path)
    assert answer.status_code == 404
    assert words in answer.text
    assert "atabase not found" not in answer.text
    assert 'class="button" href="/jobs"' in answer.text
