"""`meterlog bench`: the bench file, made and tried."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import click

from meterlog.cli.options import bench_option, json_option, table

if TYPE_CHECKING:
    from collections.abc import Container, Mapping
    from pathlib import Path

    from meterlog.base.readings import Reading
    from meterlog.daemon.station import Station
    from meterlog.links.benchfile import BenchInstrument

STARTING_FILE = """\
# What stands on the bench. Names are yours; profiles are shipped ones (meterlog profile list) or paths.
bench: my bench
instruments:
  multimeter:
    profile: handheld-segments
    port: {port}            # from: meterlog ports
    # calibrated: 2026-03-01      # as its certificate says; left out, its age is told as not known
    # address: 2                  # the address set in it, where not its profile's own
  # thermometer:
  #   profile: ascii-thermometer
  #   usb serial: A5069RR4        # found by its adapter's serial number instead; two that are asked may share a port
# switches:                       # a foot switch on a control line of an adapter
#   - {{on: thermometer, line: cts, means: press}}
# pedals:                         # a pedal that is a keyboard to the computer
#   floor:
#     device: /dev/input/by-id/usb-pedal-event-kbd
#     means: press
# speech: false
# tones: false
"""


@click.group()
def bench() -> None:
    """Say which instruments stand where, and try whether they answer."""


@bench.command()
def new() -> None:
    """Print a commented bench file to start from.

    \b
    meterlog bench new > bench.yaml
    """
    from meterlog.links.ports import ports

    found = ports()
    click.echo(STARTING_FILE.format(port=found[0].stable if found else "/dev/ttyUSB0"), nl=False)


@bench.command()
@bench_option
@click.option("--seconds", default=5.0, show_default=True, help="How long to listen to each instrument.")
@json_option
def check(bench_path: Path, seconds: float, as_json: bool) -> None:
    """Open each instrument of the bench file in turn and say what it sends. Exit 1 if one gives no reading.

    \b
    meterlog bench check --bench bench.yaml
    """
    from meterlog.daemon.main import bench_of, stations_of

    bench_file = bench_of(bench_path)
    stations = stations_of(bench_file, bench_path)
    rows = [try_station(stations[name], instrument, seconds) for name, instrument in bench_file.instruments.items()]
    table(
        [asdict(row) for row in rows], ("instrument", "readings", "rejected", "skipped_bytes", "last", "said"), as_json
    )
    for line in absent(bench_file.instruments):
        click.echo(line, err=True)
    if any(not row.readings for row in rows):
        raise SystemExit(1)


def absent(instruments: Container[str]) -> list[str]:
    """What procedures that come with meterlog ask for by name and a bench does not have, a line each."""
    from meterlog.files.procedures import offered

    return [
        f"{each.key}: its steps ask for the instrument {name!r}, which this bench does not have"
        for each in offered()
        if each.procedure
        for name in each.procedure.instruments_absent(instruments)
    ]


def _damage(errors: Mapping[str, int]) -> str:
    """What the port's driver counted, and what that usually means; "" when nothing."""
    counted = ", ".join(f"{kind} {count}" for kind, count in errors.items())
    return f"damaged on the line ({counted}): do baud rate, data bits and parity agree?" if counted else ""


@dataclass(slots=True, kw_only=True)
class Tried:
    """What came of talking with one instrument for a while; `said`: why no more did."""

    instrument: str
    readings: int = 0
    rejected: int = 0
    skipped_bytes: int = 0
    last: str = ""
    said: str = ""


def try_station(station: Station, instrument: BenchInstrument, seconds: float) -> Tried:
    """Talk with one instrument for some seconds; what came, or why nothing did."""
    from meterlog.base.errors import CannotDo
    from meterlog.base.readings import Frame, Rejected
    from meterlog.cli.listening import listen_to
    from meterlog.daemon.supervise import url_of
    from meterlog.links import LinkLost, open_link
    from meterlog.links.settings import settings_of
    from meterlog.profile.tools.coverage import endless

    tried = Tried(instrument=station.source)
    seen: set[Reading] = set()
    try:
        link = open_link(url_of(instrument), settings_of(station.profile))
    except LinkLost as lost:
        return replace(tried, said=f"{lost.why}; {lost.hint}".strip("; "))
    try:
        for outcome in listen_to(link, station.profile.conversation(), seconds, lambda _: None):
            if isinstance(outcome, Frame):
                tried.readings += len(outcome.readings)
                seen.update(outcome.readings)
                tried.last = ", ".join(reading.words for reading in outcome.readings) or tried.last
            elif isinstance(outcome, Rejected):
                tried.rejected, tried.said = tried.rejected + 1, outcome.reason
            else:
                tried.skipped_bytes += len(outcome.raw)
        tried.said = _damage(link.line_errors()) or tried.said or "; ".join(endless(seen))
    except CannotDo as lost:
        tried.said = str(lost).partition("\n")[0]
    finally:
        link.close()
    if not tried.readings and not tried.said:
        came = tried.rejected or tried.skipped_bytes
        tried.said = "bytes, but no reading: baud rate or profile?" if came else "silent: is its output switched on?"
    return tried
