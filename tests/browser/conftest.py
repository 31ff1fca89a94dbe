"""A real browser for the pages. Without chromium the tests are left out with a reason; in CI they fail.

A browser a module: while one runs, its event loop stands in the way of tests that run their own.
"""

import os
import shutil
import subprocess
import sys
import time
import urllib.request

import pytest
from browser.hands import PROCEDURE, Player
from edge.bench import Daemon, Wire
from playwright.sync_api import expect

expect.set_options(timeout=15_000)  # a busy machine takes its time; nothing is waited for without need
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
SIZES = {"phone": {"width": 360, "height": 740}, "desktop": {"width": 1280, "height": 900}}
PHONES = [(320, 568), (360, 640), (390, 664), (640, 360), (844, 390)]
"""Upright and lying, with what a browser's own bars leave."""


@pytest.fixture(scope="session", autouse=True)
def keys_of_the_tests(tmp_path_factory):
    """Keys are made in a folder of the tests', never in this user's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("METERLOG_KEYS", str(tmp_path_factory.mktemp("keys")))
        yield


@pytest.fixture(scope="module")
def chromium():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("CI runs the browser tests: install chromium (apt-get install chromium)")
        pytest.skip("no chromium here: the pages are not tried in a browser (apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def page_of(chromium):
    """Opens a page of a size; fails on a script error, and on any request that leaves the loopback."""
    opened = []
    wrong = []

    def open_page(size="phone", **more):
        context = chromium.new_context(viewport=SIZES[size], **more)
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: wrong.append(f"script: {error}"))
        page.on("console", lambda said: wrong.append(said.text) if "Content Security Policy" in said.text else None)
        page.on("request", lambda asked: wrong.append(asked.url) if "//127.0.0.1:" not in asked.url else None)
        return page

    yield open_page
    for context in opened:
        context.close()
    assert wrong == []


class Browse:
    """`meterlog browse` as a process of its own on a free port."""

    def __init__(self, db):
        self._log = open(f"{db}.browse.log", "w+")  # noqa: SIM115  (closed by stop)
        command = [sys.executable, "-m", "meterlog", "browse", "--db", str(db), "--port", "0", "--no-open"]
        self.process = subprocess.Popen(command, stderr=self._log, stdout=self._log)
        self.url = self._wait_for_url()

    def said(self):
        self._log.seek(0)
        return self._log.read()

    def _wait_for_url(self):
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            assert self.process.poll() is None, self.said()
            if "http://" in self.said():
                url = "http://" + self.said().split("http://")[1].split("/")[0]
                urllib.request.urlopen(url, timeout=30).close()
                return url
            time.sleep(0.02)
        raise AssertionError("browse did not come up: " + self.said())

    def stop(self):
        self.process.kill()
        self.process.wait()
        self._log.close()


@pytest.fixture
def browse():
    started = []

    def start(db):
        started.append(Browse(db))
        return started[-1].url

    yield start
    for each in started:
        each.stop()


@pytest.fixture
def meter(tmp_path):
    """A daemon with a multimeter and a thermometer on pseudo-terminals; answers (daemon, ohms wire, celsius wire)."""
    wires = [Wire(), Wire()]
    instruments = {
        "multimeter": ("handheld-segments", wires[0].path),
        "thermometer": ("ascii-thermometer", wires[1].path),
    }
    daemon = Daemon(tmp_path, instruments)
    yield daemon, *wires
    if daemon.process.poll() is None:
        daemon.kill()
    for wire in wires:
        wire.pull()


@pytest.fixture
def player(meter):
    made = Player(meter[1])
    yield made
    made.end()


@pytest.fixture
def kettle(tmp_path):
    path = tmp_path / "kettle-cord.yaml"
    path.write_text(PROCEDURE)
    return str(path)
