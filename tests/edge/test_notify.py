"""The service manager is told that we are ready, alive and stopping; it understands our unit."""

import shutil
import socket
import subprocess

import pytest
from edge.bench import Daemon, Wire

from meterlog.cli.service import UNITS, unit_text
from meterlog.daemon.notify import notify


def test_the_daemon_tells_ready_alive_stopping(tmp_path):
    wire = Wire()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(20)
        env = {"NOTIFY_SOCKET": str(tmp_path / "notify")}
        daemon = Daemon(tmp_path, {"multimeter": ("handheld-segments", wire.path)}, env=env)
        assert manager.recv(100) == b"READY=1"
        assert manager.recv(100) == b"WATCHDOG=1"
        assert manager.recv(100) == b"WATCHDOG=1"
        daemon.stop()
        told = manager.recv(100)
        while told == b"WATCHDOG=1":
            told = manager.recv(100)
        assert told == b"STOPPING=1"
    wire.pull()


def test_an_abstract_socket_is_told_too_and_none_is_no_error(monkeypatch):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0meterlog test manager")
        manager.settimeout(20)
        monkeypatch.setenv("NOTIFY_SOCKET", "@meterlog test manager")
        notify("READY=1")
        assert manager.recv(100) == b"READY=1"
    notify("WATCHDOG=1")  # the manager has gone
    monkeypatch.delenv("NOTIFY_SOCKET")
    notify("WATCHDOG=1")


@pytest.mark.parametrize("name", UNITS)
def test_the_service_manager_understands_the_units(tmp_path, name):
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("needs systemd-analyze, of the package systemd")
    unit = tmp_path / name
    unit.write_text(unit_text(name))
    done = subprocess.run([analyze, "verify", str(unit)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
    unit.write_text(unit_text(name).replace("RestartSec", "RestartSecs"))
    done = subprocess.run([analyze, "verify", str(unit)], capture_output=True, text=True, check=False)
    assert "Unknown key" in done.stdout + done.stderr
    assert "RestartSecs" in done.stdout + done.stderr
