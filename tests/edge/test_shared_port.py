"""Two instruments of different profiles on one port: a bench file that says so, and a daemon that talks with both."""

import contextlib
import threading

import pytest
from edge.bench import wait_until

from meterlog.base.errors import WrongText
from meterlog.daemon.main import stations_of
from meterlog.links.benchfile import read_bench

TRANSMITTER = """\
profile: transmitter
title: A transmitter that is asked by its address and does not say it
ask: {requests: ["#01<CR>"], wait: 5 s}
frame: {end: <CR>}
text: "{value}"
readings: [{value: value, unit: degC}]
"""
WATTS = """\
profile: watts
title: A power meter that answers a number too
ask: {requests: ["P?<CR>"], wait: 5 s}
frame: {end: <CR>}
text: "{value}"
readings: [{value: value, unit: W}]
"""
BENCH = """\
bench: one line
instruments:
  inlet: {profile: transmitter.yaml, port: %s}
  mains: {profile: watts.yaml, port: %s}
"""


def written(folder, transmitter=TRANSMITTER, watts=WATTS):
    (folder / "transmitter.yaml").write_text(transmitter)
    (folder / "watts.yaml").write_text(watts)


def test_both_are_asked_in_turn_and_each_has_its_own_answers(bench, wire, tmp_path):
    written(tmp_path)
    answers = {b"#01\r": b"21.5\r", b"P?\r": b"1980\r"}

    def play():
        heard = b""
        with contextlib.suppress(OSError):  # until the cable is pulled
            while True:
                heard += wire.read()
                for request, answer in answers.items():
                    if request in heard:
                        heard = heard.replace(request, b"", 1)
                        wire.write(answer)

    threading.Thread(target=play, daemon=True).start()
    daemon = bench({"inlet": ("transmitter.yaml", wire.path), "mains": ("watts.yaml", wire.path)})
    wait_until(lambda: daemon.store()["committed"] >= 8, "readings of both")
    shown = {name: daemon.link(name)["readings"][0]["shown"] for name in ("inlet", "mains")}
    assert shown == {"inlet": "21.5", "mains": "1980"}
    assert [daemon.link(name)["rejected"] for name in ("inlet", "mains")] == [0, 0]
    wire.pull()
    wait_until(lambda: {daemon.link(name)["state"] for name in shown} == {"waiting"}, "both told as lost")


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        (("ask: {requests: [P?<CR>]", "note: {requests"), ""),
        (
            ('ask: {requests: ["P?<CR>"], wait: 5 s}\n', ""),
            "bench.yaml:4:38: instruments.mains.port\n"
            "  expected  mains to be asked (`ask`), for its port is shared\n"
            "  saw       watts, which speaks by itself\n"
            "  hint      of two that speak by themselves nobody can tell whose bytes come: one profile with `messages`",
        ),
        (
            ("ask:", "line: {parity: even}\nask:"),
            "bench.yaml:4:38: instruments.mains.port\n"
            "  expected  `line` as in the profile of inlet\n"
            "  saw       another\n"
            "  hint      one line has one baud rate, parity and number of bits; a request may have a `baud` of its own",
        ),
    ],
)
def test_what_can_not_share_a_port_is_told_with_its_place(tmp_path, change, wrong):
    written(tmp_path, watts=WATTS.replace(*change))
    found = read_bench(BENCH % ("/dev/null", "/dev/null"), "bench.yaml")
    if not wrong:
        assert list(stations_of(found, tmp_path / "bench.yaml")) == ["inlet", "mains"]
        return
    with pytest.raises(WrongText) as caught:
        stations_of(found, tmp_path / "bench.yaml")
    assert str(caught.value) == wrong
