"""`meterlog service`: start with the computer, and be allowed to open the instruments."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import click
import platformdirs

DAEMON, SENDER = "meterlog.service", "meterlog-send.service"

UNITS = {
    DAEMON: """\
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
""",
    SENDER: """\
[Unit]
Description=meterlog: what this bench keeps, sent to its workshop
Documentation=man:systemd.unit(5)

[Service]
ExecStart={command} send
Restart=on-failure
RestartPreventExitStatus=3
RestartSec=60
NoNewPrivileges=true

[Install]
WantedBy=default.target
""",
}
"""The units by name. The sender ends with 3 where trying again can't help: no address yet, or the record is another."""

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


of_sender = click.option("--send", "name", flag_value=SENDER, default=DAEMON, help="The sender's to a workshop.")


def unit_text(name: str = DAEMON) -> str:
    """A unit, with this installation's command in it."""
    command = shutil.which("meterlog") or f"{sys.executable} -m meterlog"
    return UNITS[name].format(command=command)


def unit_path(name: str) -> Path:
    return Path(platformdirs.user_config_path("systemd")) / "user" / name


@service.command()
@of_sender
def install(name: str) -> None:
    """Install and start a user service for the daemon, or with --send for the sender to a workshop.

    \b
    meterlog service install
    """
    path = unit_path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(unit_text(name), encoding="utf-8")
    click.echo(f"wrote {path}", err=True)
    _systemctl("daemon-reload")
    _systemctl("enable", "--now", name)


@service.command()
@of_sender
def remove(name: str) -> None:
    """Stop the user service and remove it; recorded data stays."""
    _systemctl("disable", "--now", name)
    unit_path(name).unlink(missing_ok=True)
    _systemctl("daemon-reload")


@service.command()
@of_sender
def unit(name: str) -> None:
    """Print the unit without installing it."""
    click.echo(unit_text(name), nl=False)


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
