"""`meterlog browse`: what it says, and the code for a phone."""

import asyncio
import html
import re
import signal
import socket
import subprocess
import sys

import httpx
import pytest
import records
from click.testing import CliRunner

from meterlog.base.errors import CannotDo
from meterlog.cli import meterlog
from meterlog.files import places
from meterlog.files.first_steps import FIRST_STEPS
from meterlog.links.ports import Port
from meterlog.web import first, serve


@pytest.fixture
def served(monkeypatch):
    """What would be served, without serving it."""
    seen = []

    def run(application, opening):
        seen.append((application, opening))
        opening.socket.close()

    monkeypatch.setattr(serve, "run", run)
    return seen


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    return records.make(tmp_path_factory.mktemp("browse") / "bench.db")


def browse(database, *words):
    return CliRunner().invoke(meterlog, ["browse", "--db", str(database), "--no-open", *words], catch_exceptions=False)


def test_it_listens_on_the_loopback_address_and_says_where(database, served):
    done = browse(database, "--port", "0")
    assert re.fullmatch(rf"{database} is open at http://127\.0\.0\.1:\d+/ \(Ctrl-C ends it\)\n", done.stderr)
    assert served[0][1].token == ""


def test_a_phone_is_let_in_by_a_code(database, served, monkeypatch):
    monkeypatch.setattr(serve, "_own_address", lambda: "192.0.2.5")  # RFC 5737: an address of no machine
    done = browse(database, "--port", "0", "--lan")
    opening = served[0][1]
    assert opening.lan_url == f"http://192.0.2.5:{opening.url.split(':')[2].strip('/')}/enter?token={opening.token}"
    assert len(opening.token) >= 32
    assert f"Scan it with the phone, or open {opening.lan_url}" in done.stderr
    assert done.stdout.count("\n") > 10  # the code itself


def test_every_start_has_a_token_of_its_own(database, served, monkeypatch):
    monkeypatch.setattr(serve, "_own_address", lambda: "192.0.2.5")
    browse(database, "--port", "0", "--lan")
    browse(database, "--port", "0", "--lan")
    assert served[0][1].token != served[1][1].token


def test_a_missing_database_is_said_before_anything_is_opened(tmp_path, served):
    with pytest.raises(CannotDo, match="there is no database"):
        CliRunner().invoke(
            meterlog, ["browse", "--db", str(tmp_path / "no.db"), "--no-open", "--port", "0"], catch_exceptions=False
        )
    assert served == []


def test_a_second_browse_says_that_the_usual_port_is_taken(database, served, monkeypatch):
    first = serve.open_address(0, lan=False)
    monkeypatch.setattr(serve, "PORT", first.socket.getsockname()[1])
    done = browse(database)
    first.socket.close()
    assert f"Port {serve.PORT} is taken, perhaps by another browse: this one takes another." in done.stderr
    assert served[0][1].url != first.url


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_one_signal_ends_it_with_a_page_open_and_frees_the_port(database, ending):
    command = [sys.executable, "-m", "meterlog", "browse", "--db", str(database), "--port", "0", "--no-open"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as served:
        port = int(served.stderr.readline().split(":")[2].split("/")[0])
        with socket.create_connection(("127.0.0.1", port)) as page:
            page.sendall(b"GET /bench/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert page.recv(12) == b"HTTP/1.1 200"
            served.send_signal(ending)
            assert served.wait(timeout=10) in (0, -ending)
        assert "Traceback" not in served.stderr.read()
    again = serve.open_address(port, lan=False)
    again.socket.close()


def test_where_nothing_is_recorded_yet_the_page_leads_to_it_and_becomes_the_record(tmp_path, served, monkeypatch):
    path = tmp_path / "bench.db"
    monkeypatch.setattr(places.platformdirs, "user_data_path", lambda name: tmp_path)
    monkeypatch.delenv("METERLOG_DB", raising=False)
    usb = Port(device="/dev/ttyUSB3", stable="/dev/serial/by-id/x", description="an <adapter>", usb_serial="", hint="")
    monkeypatch.setattr(first, "ports", lambda: [usb])
    done = CliRunner().invoke(meterlog, ["browse", "--no-open", "--port", "0"], catch_exceptions=False)
    assert re.match(r"Nothing is recorded yet: http://127\.0\.0\.1:\d+/ leads to the first job", done.stderr)
    application = served[0][0]

    def asked(where):
        async def ask():
            transport = httpx.ASGITransport(app=application, client=("127.0.0.1", 5000))
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
                return await client.get(where)

        return asyncio.run(ask())

    page = html.unescape(asked("/jobs").text)
    assert "<li>an <adapter>: <kbd>meterlog profile try /dev/serial/by-id/x</kbd></li>" in page
    assert all(typed in page for _, typed in FIRST_STEPS[:-1])
    assert "an &lt;adapter&gt;" in asked("/").text
    assert asked("/-/sheet/sheet.css").headers["content-type"] == "text/css"
    records.make(path)
    assert "K-7" in asked("/jobs").text


def test_without_words_a_newcomer_is_led_to_the_first_job():
    done = CliRunner().invoke(meterlog, [])
    assert done.exit_code == 0
    for typed in ("meterlog ports", "meterlog profile try", "meterlog bench new", "meterlog listen", "meterlog browse"):
        assert typed in done.output
    for _, typed in FIRST_STEPS:  # what is told can be typed
        group, *rest = typed.split()[1:]
        words = [group, *(rest[:1] if group in ("profile", "bench") else []), "--help"]
        assert CliRunner().invoke(meterlog, words).exit_code == 0
