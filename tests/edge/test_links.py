"""Each kind of link against a real counterpart: pseudo-terminals, network serial, a Modbus server, HID reports."""

import contextlib
import fcntl
import os
import queue
import shutil
import socket
import struct
import subprocess
import sys
import termios
import threading
from pathlib import Path

import pytest
import serial
import serial.rfc2217
from edge.bench import wait_until
from players.segments import showing
from serial.tools import list_ports, list_ports_common

from meterlog.base.line import AtBaud
from meterlog.daemon.clock import Clock
from meterlog.daemon.supervise import SupervisedLink
from meterlog.links import LinkLost, open_link
from meterlog.links.settings import LineSettings

FAKES = Path(__file__).parents[1] / "fakes"
SETTINGS = LineSettings(baud=2400)


def program(name):
    """A program that a test needs. In CI it must be there."""
    found = shutil.which(name, path=os.environ["PATH"] + ":/usr/sbin")
    if found is None and not os.environ.get("CI"):
        pytest.skip(f"needs the program {name}: apt install {name}")
    assert found, f"{name} is missing: apt install {name}"
    return found


@contextlib.contextmanager
def running(*command):
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        process.wait()


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def reads_a_frame(daemon, write):
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    write(showing("ohm", 47.3))
    wait_until(lambda: daemon.store()["committed"] == 1, "the reading committed")
    assert daemon.link("multimeter")["readings"][0]["shown"] == "047.3"


# ---- serial ports ----


def test_a_serial_link_reads_writes_and_tells_of_its_loss(wire):
    link = open_link(wire.path, SETTINGS, 5.0)
    wire.write(b"one")
    assert link.read() == b"one"
    link.write(b"two")
    assert wire.read() == b"two"
    assert link.control_lines() == {}
    wire.pull()
    with pytest.raises(LinkLost, match=f"{wire.path} (was unplugged|no longer answers)"):
        link.read()
    link.close()


def test_a_request_is_written_at_its_own_rate_and_its_answer_read_at_another(wire):
    link = open_link(wire.path, SETTINGS, 5.0)
    rates = {termios.B2400: 2400, termios.B4800: 4800, termios.B19200: 19200}

    def rate():
        return rates[termios.tcgetattr(wire.master)[4]]

    assert rate() == 2400
    link.write(AtBaud(b"HELLO", sent_at=4800, answered_at=19200))
    assert rate() == 4800
    wait_until(lambda: rate() == 19200, "the answer's rate")
    link.write(AtBaud(b"READ", answered_at=19200))
    link.write(b"READ")  # before that answer's rate was set
    assert rate() == 2400
    link.write(AtBaud(b"READ", sent_at=19200))
    assert rate() == 19200
    link.close()


def test_damage_that_the_driver_counts_is_told_from_the_opening_on(wire, monkeypatch):
    """No driver here counts: its answer is laid out as Linux's include/uapi/linux/serial.h lays it out.

    struct serial_icounter_struct { int cts, dsr, rng, dcd; int rx, tx; int frame, overrun, parity, brk;
    int buf_overrun; int reserved[9]; };
    """
    link = open_link(wire.path, SETTINGS, 0.01)
    assert link.line_errors() == {}  # a pseudo-terminal counts nothing
    link.close()
    counters = dict.fromkeys(("cts", "dsr", "rng", "dcd", "rx", "tx", "frame", "overrun", "parity", "brk", "buf"), 0)
    counters["parity"] = 5
    true_ioctl = fcntl.ioctl

    def counting(number, request, *more):
        if request != termios.TIOCGICOUNT:
            return true_ioctl(number, request, *more)
        more[0][:] = struct.pack("11i", *counters.values()).ljust(80, b"\0")
        return 0

    monkeypatch.setattr(fcntl, "ioctl", counting)
    link = open_link(wire.path, SETTINGS, 0.01)
    assert link.line_errors() == {}
    counters.update(rx=900, frame=3, parity=7, buf=1)
    assert link.line_errors() == {"framing": 3, "parity": 2, "port buffer full": 1}
    link.close()


class Noisy:
    """A link whose driver counts one framing error more at each look."""

    looks = 0

    def line_errors(self):
        self.looks += 1
        return {"framing": self.looks}


def test_damage_is_told_once_and_each_time_that_it_has_doubled():
    told, link, count = queue.Queue(), Noisy(), 0
    task = SupervisedLink("meter", None, SETTINGS, told, clock=Clock())
    for _ in range(100):
        count = task.count_damage(link, count)
    assert [item.errors["framing"] for item in told.queue] == [1, 2, 4, 8, 16, 32, 64]


def test_a_port_that_takes_no_bytes_is_lost_for_reading_too(wire):
    link = open_link(wire.path, SETTINGS, 0.01)
    with pytest.raises(LinkLost, match="no longer answers: Write timeout"):
        link.write(bytes(1_000_000))
    with pytest.raises(LinkLost, match="no longer answers: Write timeout"):
        link.read()
    link.close()


def test_a_port_is_kept_from_programs_that_do_not_ask(wire):
    """Other users get EBUSY; root is never refused by the kernel, so it looks through another user's eyes."""
    os.chmod(wire.path, 0o666)
    link = open_link(wire.path, SETTINGS, 0.01)
    look = f"import os\nif os.getuid() == 0: os.setuid(65534)\nos.open({wire.path!r}, os.O_RDWR | os.O_NOCTTY)"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=False)
    assert "Device or resource busy" in done.stderr
    link.close()


@pytest.mark.parametrize(
    ("url", "why", "hopeless"),
    [
        ("/dev/not-there", "/dev/not-there is not there", False),
        ("nonsense://x", "nonsense://x is no port: invalid URL", True),
        ("hwgrep://not-plugged-in", "hwgrep://not-plugged-in can't be opened: no ports found", False),
        ("socket://127.0.0.1:1", "socket://127.0.0.1:1 can't be opened: Could not open port", False),
        ("hid://12:ab", "hid://12:ab is no HID address", True),
        ("recording:/not/there.txt", "/not/there.txt can't be played", True),
    ],
)
def test_what_cannot_be_opened_says_why(url, why, hopeless):
    with pytest.raises(LinkLost) as lost:
        open_link(url, SETTINGS, 0.01)
    assert lost.value.why.startswith(why)
    assert lost.value.hopeless is hopeless


def test_a_port_is_found_by_what_it_is(wire, monkeypatch):
    """hwgrep:// looks through the list of ports; a pseudo-terminal is in none, so it is put there."""
    port = list_ports_common.ListPortInfo(wire.path, skip_link_detection=True)
    port.description, port.hwid = "invented adapter", "USB VID:PID=1234:ABCD SER=BENCH7"
    monkeypatch.setattr(list_ports, "comports", lambda include_links=False: [port])
    link = open_link("hwgrep://BENCH7", SETTINGS, 5.0)
    wire.write(b"found")
    assert link.read() == b"found"
    link.close()


# ---- network serial ----


def test_ser2net_as_a_network_serial_port(bench, wire, tmp_path):
    port = free_port()
    config = tmp_path / "ser2net.yaml"
    config.write_text(
        f"connection: &one\n  accepter: tcp,127.0.0.1,{port}\n  connector: serialdev,{wire.path},2400n81,local\n"
    )
    with running(program("ser2net"), "-n", "-c", str(config)):
        daemon = bench({"multimeter": ("handheld-segments", f"socket://127.0.0.1:{port}")})
        reads_a_frame(daemon, wire.write)
        daemon.stop()


def test_socat_as_a_network_serial_port_that_goes_and_comes_back(bench, wire):
    port, socat = free_port(), program("socat")
    command = (socat, f"TCP-LISTEN:{port},bind=127.0.0.1,reuseaddr", f"FILE:{wire.path},raw,echo=0")
    with running(*command):
        daemon = bench({"multimeter": ("handheld-segments", f"socket://127.0.0.1:{port}")})
        reads_a_frame(daemon, wire.write)
    wait_until(lambda: daemon.link("multimeter")["state"] == "waiting", "the loss told")
    with running(*command):
        wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open again")
        wire.write(showing("ohm", 12.5))
        wait_until(lambda: daemon.store()["committed"] == 2, "the second reading committed")
        daemon.stop()
    assert daemon.rows("SELECT shown FROM readings ORDER BY id") == [("047.3",), ("012.5",)]
    assert daemon.rows("SELECT count(*) FROM instrument") == [(1,)]


class Rfc2217Server(threading.Thread):
    """pyserial's own RFC 2217 server before a looped port: what is written into the port arrives at the client."""

    def __init__(self):
        super().__init__(daemon=True)
        self.port = serial.serial_for_url("loop://", timeout=0.05)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self._listener.getsockname()[1]}"

    def run(self):
        client, _ = self._listener.accept()
        with client, client.makefile("wb", buffering=0) as out, contextlib.suppress(OSError):
            self._manager = serial.rfc2217.PortManager(self.port, out)
            forward = threading.Thread(target=self._forward, args=(client,))
            forward.start()
            while data := client.recv(1024):
                self.port.write(b"".join(self._manager.filter(data)))
            self.port.close()
            forward.join()

    def _forward(self, client):
        with contextlib.suppress(OSError, serial.SerialException):
            while self.port.is_open:
                client.sendall(b"".join(self._manager.escape(self.port.read(256))))

    def close(self):
        self.join()
        self._listener.close()


def test_an_rfc_2217_server_is_set_as_the_profile_says(bench):
    server = Rfc2217Server()
    server.start()
    daemon = bench({"multimeter": ("handheld-segments", server.url)})
    reads_a_frame(daemon, server.port.write)
    assert (server.port.baudrate, server.port.bytesize, server.port.parity) == (2400, 8, "N")
    assert (server.port.dtr, server.port.rts) == (True, False)
    daemon.stop()
    server.close()


# ---- a polled instrument ----


def test_a_modbus_server_as_the_thermometer(bench, tmp_path):
    """pymodbus answers as the transmitter of profiles/instruments/modbus-rtu.yaml; goes silent; comes back."""
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    pair = [f"PTY,raw,echo=0,link={end}" for end in (ours, theirs)]
    serve = (sys.executable, str(FAKES / "modbus_server.py"), str(theirs))
    with running(program("socat"), *pair):
        wait_until(theirs.exists, "the pair of pseudo-terminals")
        with running(*serve):
            daemon = bench({"thermometer": ("modbus-rtu", str(ours))})
            wait_until(lambda: daemon.link("thermometer")["count"] >= 3, "a round of answers")
            shown = {r["channel"]: (r["shown"], r["unit"]) for r in daemon.link("thermometer")["readings"]}
        assert shown == {"probe": ("21.53", "degC"), "air": ("45.2", "percent"), "casing": ("-5.2", "degC")}
        missed = daemon.link("thermometer")["rejected"]
        wait_until(lambda: daemon.link("thermometer")["rejected"] > missed, "the missing answer told")
        count = daemon.link("thermometer")["count"]
        with running(*serve):
            wait_until(lambda: daemon.link("thermometer")["count"] > count, "answers again")
        daemon.stop()
    reasons = daemon.rows("SELECT DISTINCT reason FROM unread")
    assert any(reason[0].startswith("no answer to 01 04") for reason in reasons)
    assert daemon.rows("SELECT count(*) > 3 FROM sent") == [(1,)]
    assert daemon.audit() == (0, "findings: none")


# ---- HID ----


def test_a_hid_instrument_through_a_fake_of_hidapi(bench, wire):
    env = {"PYTHONPATH": os.pathsep.join([str(FAKES), *sys.path]), "FAKE_HID_REPORTS": wire.path}
    daemon = bench({"multimeter": ("hid-reports", "hid://1234:abcd")}, env=env)
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    wire.write(bytes.fromhex("F7 F1 97 4A 5B 6A 7A 6B F7 74 68 69 6E 6F 6A 6A F5 5A 6A 6A 59 9C 00 00"))
    wait_until(lambda: daemon.store()["committed"] == 1, "the reading committed")
    daemon.stop()
    assert daemon.rows("SELECT shown, unit FROM readings") == [("1.2345", "V")]


def test_a_hid_address_of_nothing_is_told(bench, wire):
    env = {"PYTHONPATH": os.pathsep.join([str(FAKES), *sys.path]), "FAKE_HID_REPORTS": wire.path}
    daemon = bench({"multimeter": ("hid-reports", "hid://1234:0000")}, env=env)
    wait_until(lambda: daemon.link("multimeter")["state"] == "waiting", "the missing device told")
    assert daemon.link("multimeter")["why"] == "hid://1234:0000 can't be opened: open failed"
    assert daemon.link("multimeter")["hint"] == "plug it in; on Linux install: meterlog service udev"
