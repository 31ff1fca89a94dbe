"""A lesson on the smallest phone, on a slow link: what the display showed at the press is what counts."""

import re
import subprocess
import sys
import threading
import time

import pytest
from browser.test_phone import UPRIGHT, slow
from click.testing import CliRunner
from edge.bench import Wire, wait_until
from playwright.sync_api import expect

from meterlog.cli.profile import profile


class Meter:
    """An instrument that sends ten lines a second of whatever `shows` says."""

    def __init__(self):
        self.wire, self.shows = Wire(), "DC 1.234 V"
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._play, daemon=True)
        self._thread.start()

    def _play(self):
        while not self._stopped.wait(0.1):
            self.wire.write(f"{self.shows}\r\n".encode())

    def stop(self):
        self._stopped.set()
        self._thread.join(timeout=2)
        self.wire.pull()


@pytest.fixture
def meter():
    made = Meter()
    yield made
    made.stop()


@pytest.fixture
def lesson(meter, tmp_path):
    """(process, address, where the profile is to be) of a lesson with a page."""
    out, log = tmp_path / "my-meter.yaml", (tmp_path / "log.txt").open("w+")
    command = ["profile", "learn", meter.wire.path, "-o", str(out), "--page", "--port", "0"]
    process = subprocess.Popen([sys.executable, "-m", "meterlog", *command], stdout=log, stderr=log)
    found = []

    def is_open():
        assert process.poll() is None, (tmp_path / "log.txt").read_text()
        found[:] = re.findall(r"http://\S+", (tmp_path / "log.txt").read_text())
        return found

    wait_until(is_open, "the page's address")
    yield process, found[0], out
    process.kill()
    process.wait()
    log.close()


def note(page, typed):
    page.get_by_label("What did it show").fill(typed)
    page.get_by_role("button", name="That is what it showed").click()
    expect(page.get_by_role("button", name="It stands still: now")).to_be_visible()


def test_a_lesson_with_one_thumb(meter, lesson, page_of):
    process, address, out = lesson
    page = page_of("phone")
    page.set_viewport_size(UPRIGHT)
    page.goto(address)
    expect(page.get_by_text("What does the display show?")).to_be_visible()
    slow(page, 400)
    time.sleep(2.0)  # its clock is known by slow answers alone
    for counts in (1234, 5871, 906):
        meter.shows = f"DC {counts / 1000:.3f} V"
        time.sleep(1.2)
        page.get_by_role("button", name="It stands still: now").click()
        time.sleep(0.5)
        meter.shows = "DC 3.333 V"
        time.sleep(1.5)  # what it shows when the note is typed is another value
        note(page, f"{counts / 1000:.3f} V DC")
    expect(page.locator("#shows")).to_have_text("3.333 V dc voltage")
    expect(page.get_by_text("All 1 states that were seen are known")).to_be_visible()
    meter.shows = "AC 51.07 mV"
    expect(page.get_by_text("The display shows a state that I have not seen: what does it say?")).to_be_visible()
    expect(page.locator("#shows")).to_have_text("a state that is not known")
    page.get_by_role("button", name="It stands still: now").click()
    page.get_by_label("What did it show").fill("51.O7 mV AC")
    page.get_by_role("button", name="That is what it showed").click()
    expect(page.get_by_text("'51.O7' is neither figures nor OL")).to_be_visible()  # what was typed stays
    assert page.evaluate("document.documentElement.scrollWidth") <= UPRIGHT["width"]
    assert page.get_by_role("button", name="Forget it").bounding_box()["y"] + 44 <= UPRIGHT["height"]
    note(page, "51.07 mV AC")
    expect(page.locator("#shows")).to_have_text("51.07 mV ac voltage")
    page.get_by_text("2 states known, 4 notes").click()
    page.get_by_role("button", name="Save the profile, and end").click()
    expect(page.get_by_role("heading", name="It is kept as")).to_be_visible()
    assert process.wait(timeout=20) == 0
    assert page.locator("#profile").inner_text().strip() == out.read_text().strip()
    assert CliRunner().invoke(profile, ["check", str(out)]).exit_code == 0
    assert "shows: '5.871 V dc voltage'" in out.read_text()


def test_a_note_that_goes_with_no_other_is_left_out_in_words_and_a_dead_meter_reads_nothing(meter, lesson, page_of):
    _, address, _ = lesson
    page = page_of("phone")
    page.goto(address)
    for counts in (1234, 5871):
        meter.shows = f"DC {counts / 1000:.3f} V"
        time.sleep(1.2)
        page.get_by_role("button", name="It stands still: now").click()
        note(page, f"{counts / 1000:.3f} V DC")
    expect(page.locator("#shows")).to_have_text("5.871 V dc voltage")
    time.sleep(1.2)
    page.get_by_role("button", name="It stands still: now").click()
    note(page, "9.999 V DC")
    expect(page.get_by_role("alert")).to_contain_text("left out, it does not go with the others: 9.999 V DC")
    expect(page.locator("#shows")).to_have_text("5.871 V dc voltage")
    page.get_by_text("1 state known, 2 notes").click()
    page.get_by_role("button", name="Take out").first.click()
    expect(page.get_by_text("0 states known, 1 note")).to_be_visible()
    expect(page.get_by_role("button", name="Save the profile")).to_be_disabled()
    meter.stop()
    expect(page.locator("#asks")).to_contain_text(re.compile("Nothing has come for|unplugged|lost|gone"))
