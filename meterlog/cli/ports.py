"""`meterlog ports`: what is plugged in."""

from __future__ import annotations

from dataclasses import asdict

import click

from meterlog.cli.options import json_option, table


@click.command()
@json_option
def ports(as_json: bool) -> None:
    """List the serial ports that are plugged in, by the name to write into a bench file.

    \b
    meterlog ports
    """
    from meterlog.links.ports import ports as found_ports

    found = found_ports()
    table([asdict(port) for port in found], ("stable", "device", "description", "usb_serial"), as_json)
    if not found:
        click.echo("no serial port is plugged in", err=True)
    for port in found:
        if port.hint:
            click.echo(f"{port.device} can't be opened by you\n  {port.hint}", err=True)
