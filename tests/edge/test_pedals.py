"""A keyboard-type pedal: the kernel's records, played into a pipe as the kernel would write them."""

import logging
import os
import queue
from logging.handlers import QueueHandler

import pytest

from meterlog.base.errors import WrongText
from meterlog.daemon.clock import Clock
from meterlog.daemon.items import LineChanged
from meterlog.daemon.pedal_watch import pedals_watched
from meterlog.links import LinkLost
from meterlog.links.benchfile import Pedal, read_bench
from meterlog.links.pedal_keys import EVENT, Keys

KEY_B, KEY_A = 48, 30
SYNC = EVENT.pack(0, 0, 0, 0, 0)


def event(code: int, value: int) -> bytes:
    return EVENT.pack(1_700_000_000, 0, 1, code, value) + SYNC


@pytest.fixture
def told():
    """What the pedal's log says, as a queue to wait on."""
    lines: queue.Queue = queue.Queue()
    handler = QueueHandler(lines)
    logging.getLogger("meterlog").addHandler(handler)
    yield lines
    logging.getLogger("meterlog").removeHandler(handler)


@pytest.fixture
def device(tmp_path):
    path = tmp_path / "pedal"
    os.mkfifo(path)
    return path


BENCH = """\
bench: b
instruments: {{meter: {{profile: handheld-segments, port: /dev/ttyUSB0}}}}
pedals:
  floor: {{device: {device}, key: 48}}
"""


def test_presses_and_releases_are_read_and_repeats_are_not(device):
    keys = Keys(str(device))
    writer = os.open(device, os.O_WRONLY)
    os.write(writer, event(KEY_B, 1) + event(KEY_B, 2) + event(KEY_B, 0)[:10])
    assert keys.read() == [(KEY_B, True)]
    os.write(writer, event(KEY_B, 0)[10:])
    assert keys.read() == [(KEY_B, False)]
    os.close(writer)
    with pytest.raises(LinkLost) as lost:
        keys.read()
    assert lost.value.why == f"{device} is gone"
    keys.close()


def test_a_pedal_that_is_not_there_is_told(tmp_path):
    with pytest.raises(LinkLost) as lost:
        Keys(str(tmp_path / "none"))
    assert lost.value.why == f"{tmp_path / 'none'} can't be opened: No such file or directory"


def test_the_bench_hears_the_key_that_counts_again_after_it_was_unplugged(device, told):
    bench = read_bench(BENCH.format(device=device), "bench.yaml")
    items: queue.Queue = queue.Queue()
    with pedals_watched(bench, items, Clock()):
        for time in ("first", "again"):
            writer = os.open(device, os.O_WRONLY)  # waits until the pedal is being read
            os.write(writer, event(KEY_A, 1) + event(KEY_B, 1) + event(KEY_B, 0))
            heard = [items.get(timeout=10), items.get(timeout=10)]
            os.close(writer)
            if time == "first":
                told.get(timeout=10)  # that it is gone: the pedal is closed by then
            assert [(item.source, item.word) for item in heard] == [("floor", "key on"), ("floor", "key off")]
            assert all(isinstance(item, LineChanged) for item in heard)


def test_a_pedal_has_a_name_of_its_own():
    text = BENCH.format(device="/dev/input/event0").replace("floor", "meter")
    with pytest.raises(WrongText) as wrong:
        read_bench(text, "bench.yaml")
    assert str(wrong.value) == (
        "bench.yaml:4:10: pedals.meter\n  expected  a name of its own\n  saw       meter, which is an instrument"
    )


def test_a_pedal_means_press_unless_it_says_otherwise():
    pedal = read_bench(BENCH.format(device="/dev/input/event0"), "bench.yaml").pedals["floor"]
    assert (pedal.device, pedal.key, pedal.means) == ("/dev/input/event0", KEY_B, Pedal(device="").means)
