"""`meterlog service`: start with the computer, and be allowed to open the instruments."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import click
import platformdirs

UNIT_NAME = "meterlog.service"

UNIT = """\
[Unit]
Description=meterlog bench daemon
Documentation=man:systemd.unit(5)

[Service]
Type=notify
NotifyAccess=main
ExecStart={command} listen --log json
Restart=on-failure
RestartSec=5
WatchdogSec=30
NoNewPrivileges=true

[Install]
WantedBy=default.target
"""

UDEV_RULE = """\
# Serial adapters and HID instruments for whoever sits at the bench. Install as root:
#   meterlog service udev | sudo tee /etc/udev/rules.d/60-meterlog.rules && sudo udevadm control --reload
SUBSYSTEM=="tty", SUBSYSTEMS=="usb", TAG+="uaccess", ENV{ID_MM_DEVICE_IGNORE}="1"
SUBSYSTEM=="hidraw", TAG+="uaccess"
ACTION=="add", SUBSYSTEM=="usb", TEST=="power/control", ATTR{power/control}="on"
"""


@click.group()
def service() -> None:
    """Start the daemon with the computer, and permit it to open the instruments."""


def unit_text() -> str:
    """The unit, with this installation's command in it."""
    command = shutil.which("meterlog") or f"{sys.executable} -m meterlog"
    return UNIT.format(command=command)


def unit_path() -> Path:
    return Path(platformdirs.user_config_path("systemd")) / "user" / UNIT_NAME


@service.command()
def install() -> None:
    """Install and start a user service for the daemon.

    \b
    meterlog service install
    """
    path = unit_path()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(unit_text(), encoding="utf-8")
    click.echo(f"wrote {path}", err=True)
    _systemctl("daemon-reload")
    _systemctl("enable", "--now", UNIT_NAME)


@service.command()
def remove() -> None:
    """Stop the user service and remove it; recorded data stays."""
    _systemctl("disable", "--now", UNIT_NAME)
    unit_path().unlink(missing_ok=True)
    _systemctl("daemon-reload")


@service.command()
def unit() -> None:
    """Print the unit without installing it."""
    click.echo(unit_text(), nl=False)


@service.command()
def udev() -> None:
    """Print the rule that permits whoever sits at the computer to open serial and HID instruments.

    \b
    meterlog service udev | sudo tee /etc/udev/rules.d/60-meterlog.rules
    """
    click.echo(UDEV_RULE, nl=False)


def _systemctl(*words: str) -> None:
    program = shutil.which("systemctl")
    done = subprocess.run([program, "--user", *words], check=False) if program else None
    if done is None or done.returncode:
        click.echo("the service manager did not do it; by hand: systemctl --user " + " ".join(words), err=True)
