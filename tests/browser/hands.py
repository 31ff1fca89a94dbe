"""What a repairer does at the bench in a browser: an invented kettle's procedure, a meter that is played, taps."""

import threading

from players.segments import showing
from playwright.sync_api import expect

PROCEDURE = """\
procedure: kettle-cord
title: Cord of a kettle
appliance: kettle with a cord
source: invented for the tests
cautions: [isolate]
points:
  outside:
    plug earth pin: the earth pin of the plug
    bare metal: unpainted metal of the body
    plug line pin: the line pin of the plug
    plug neutral pin: the neutral pin of the plug
steps:
  - step: look
    kind: look
    title: Cord looked over
    cautions: [look-first]
  - step: leads
    kind: leads
    title: Probe tips pressed together
    limits: [{is: at most 0.5 ohm, source: "common practice, no source", mark: common practice}]
  - step: earth
    kind: measure
    title: Protective conductor
    points: [plug earth pin, bare metal]
    quantity: resistance
    limits: [{is: at most 5 ohm, source: "common practice, no source", mark: common practice}]
    fail means: a broken conductor
  - step: element
    kind: measure
    title: Heating element
    points: [plug line pin, plug neutral pin]
    quantity: resistance
    limits: [{is: 15 .. 30 ohm, source: "common practice, no source", mark: common practice}]
"""


class Player:
    """Plays a meter at ten readings a second until told to end; `ohms` None is open leads, `frame` another function."""

    def __init__(self, wire):
        self.ohms = self.frame = None
        self._wire, self._ended = wire, threading.Event()
        self._thread = threading.Thread(target=self._play, daemon=True)
        self._thread.start()

    def _play(self):
        while not self._ended.wait(0.1):
            self._wire.write(self.frame or showing("ohm", self.ohms))

    def end(self):
        self._ended.set()
        self._thread.join()


def task(page, title):
    expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible()


def press(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def measure(page, player, title, ohms, outcome):
    """Hold the probes until it is taken, see what came of it, then lift them."""
    task(page, title)
    expect(page.locator(".digits-number").first).to_have_text("OVER")
    player.ohms = ohms
    expect(page.locator(".screen .stamp").first).to_contain_text(outcome)
    player.ohms = None


def unfold(page, words):
    """Open a fold of the page, by the words that it begins with."""
    page.locator("main summary").filter(has_text=words).first.click()
