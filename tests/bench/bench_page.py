"""The bench page in a real browser over the real daemon: first paint, and from a meter's bytes to digits on the screen.

    PYTHONPATH=.:tests python tests/bench/bench_page.py

Prints medians and the slowest of 30 in ms. Readings change once a second, so that each is announced at once.
"""

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from edge.bench import Daemon, Wire
from players.segments import showing
from playwright.sync_api import sync_playwright

TIMES = 30
WATCH = """() => { window.seen = {}; new MutationObserver(() => {
  const digits = document.querySelector(".digits-number").textContent;
  requestAnimationFrame(() => { window.seen[digits] ??= Date.now(); });
}).observe(document.getElementById("at-hand"), { childList: true, characterData: true, subtree: true }); }"""


def main():
    wire = Wire()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        daemon = Daemon(Path(folder), {"multimeter": ("handheld-segments", wire.path)})
        wire.write(showing("ohm", 1.0))
        command = [sys.executable, "-m", "meterlog", "browse", "--db", str(daemon.db), "--port", "0", "--no-open"]
        served = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        url = "http://" + served.stderr.readline().split("http://")[1].split("/")[0] + "/bench"
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        try:
            print(line("first paint", paints(browser, url)))
            print(line("bytes to screen", reactions(browser, url, wire)))
        finally:
            browser.close()
            served.kill()
            daemon.kill()


def paints(browser, url):
    found = []
    for _ in range(TIMES):
        page = browser.new_page(viewport={"width": 360, "height": 740}, bypass_csp=True)
        page.goto(url)
        page.wait_for_function("performance.getEntriesByName('first-contentful-paint').length")
        found.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
        page.close()
    return found


def reactions(browser, url, wire):
    page = browser.new_page(viewport={"width": 360, "height": 740}, bypass_csp=True)
    page.goto(url)
    page.wait_for_selector(".digits-number")
    page.evaluate(WATCH)
    found = []
    for n in range(TIMES):
        shown = f"{100 + n}.0"
        time.sleep(0.3 + 0.013 * n)
        began = time.time() * 1000
        wire.write(showing("ohm", 100.0 + n))
        page.wait_for_function("shown => window.seen[shown]", arg=shown)
        found.append(page.evaluate("shown => window.seen[shown]", shown) - began)
    return found


def line(name, found):
    return f"{name:<18}{statistics.median(found):8.0f} ms, slowest {max(found):.0f} ms of {len(found)}"


if __name__ == "__main__":
    main()
