"""`meterlog profile`: check, explain, try and begin protocol profiles."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meterlog.base.errors import WrongText, WrongValue
from meterlog.base.readings import Frame, Rejected, Skipped
from meterlog.cli.decode import as_far_as_it_reads, events_of
from meterlog.cli.propose import learn, propose_command
from meterlog.conversation.drive import drive
from meterlog.files import shipped
from meterlog.profile.compile.compiler import Profile, compiled_anew
from meterlog.profile.language.keys import PROFILE
from meterlog.profile.language.places import parse_bytes
from meterlog.profile.tools.coverage import NO_EXAMPLES, crowded, endless, read_of_examples, risk, unreached
from meterlog.profile.tools.drafts import KINDS, draft
from meterlog.profile.tools.explain import Explainer

if TYPE_CHECKING:
    from meterlog.base.recording import Event

_KIND = "profiles/instruments"
MOST_SHOWN = 3
"""Rows that no example reaches which `check` names: those that change what is measured come first."""


@click.group()
def profile() -> None:
    """How to talk to an instrument and what its bytes mean: check, explain, try, begin one of your own.

    Example: meterlog profile check my-meter.yaml
    """


def _load(reference: str) -> Profile:
    """A profile, though its examples may fail: what explains why they do must not wait until they do not."""
    return as_far_as_it_reads(shipped.find(reference, _KIND))


@profile.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--all", "is_all", is_flag=True, help="Every row that no example reaches, not three.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a file.")
def check(files: tuple[str, ...], is_all: bool, as_json: bool) -> None:
    """Tell everything that is wrong in profiles; run their examples; exit 1 when something is.

    What is not wrong but not proved either follows: first which damage on the line would go unnoticed, then
    the rows that no example reaches.

    Example: meterlog profile check my-meter.yaml
    """
    wrong = False
    for reference in files:
        path = shipped.find(reference, _KIND)
        try:
            report = _report(path)
        except WrongText as error:
            wrong = True
            if not as_json:
                click.echo(str(error), err=True)
                continue
            report = Report(file=str(path), text=str(error), problems=[problem.as_row() for problem in error.problems])
        if as_json:
            click.echo(json.dumps(asdict(report), ensure_ascii=False))
        else:
            _print_report(report, is_all)
    sys.exit(1 if wrong else 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What there is to say of one file: its problems, or what is not proved of it."""

    file: str
    problems: list[dict[str, str | int]] = field(default_factory=list)
    text: str = ""
    crowded: list[str] = field(default_factory=list)
    endless: list[str] = field(default_factory=list)
    unreached: list[str] = field(default_factory=list)
    risk: list[str] = field(default_factory=list)
    profile: str = ""
    examples: int = 0


def _report(path: Path) -> Report:
    """The report on one file without a problem. Raises: WrongText."""
    made = compiled_anew(shipped.text_of(path), str(path))
    return Report(
        file=str(path),
        unreached=unreached(made),
        crowded=crowded(made),
        endless=endless(read_of_examples(made)),
        risk=risk(made),
        profile=made.key,
        examples=len(made.said.examples),
    )


def _print_report(report: Report, is_all: bool) -> None:
    click.echo(f"{report.file}: {report.profile}, {report.examples} examples, no problem")
    for line in report.risk:
        click.echo(f"  risk: {line}")
    for line in (*report.crowded, *report.endless):
        click.echo(f"  warning: {line}")
    missed = report.unreached
    if not report.examples:
        click.echo(f"  warning: {NO_EXAMPLES}")
    elif missed:
        shown = missed if is_all else missed[:MOST_SHOWN]
        rest = f" and {len(missed) - len(shown)} more (--all lists them)" if len(missed) > len(shown) else ""
        click.echo(f"  warning: no example reaches {', '.join(shown)}{rest}")


@profile.command()
@click.argument("file")
@click.argument("recording", required=False, type=click.Path(path_type=Path))
@click.option("--frame", "frame", help='A frame: hex bytes such as "55 AA 01", or a text with <CR><LF>.')
@click.option("--request", default="", help="The request that the frame answers, written the same way.")
@click.option("--most", default=5, show_default=True, help="Frames of a recording that are explained.")
def explain(file: str, recording: Path | None, frame: str | None, request: str, most: int) -> None:
    """Show which bytes became which field, by which line of the profile, and where a frame failed.

    Example: meterlog profile explain ascii-thermometer --frame "T=+023.5C<CR><LF>"
    """
    made = _load(file)
    explainer = Explainer(made)
    if frame is not None:
        click.echo("\n".join(explainer.stream(_bytes(frame), _bytes(request) if request else b"")))
    elif recording is not None:
        click.echo("\n".join(explainer.timeline(events_of(recording), most)))
    else:
        raise click.UsageError("give --frame, or a recording")


def _bytes(text: str) -> bytes:
    """Bytes from the command line: hex where all of it is hex, else text."""
    packed = text.replace(" ", "").replace(":", "")
    try:
        if len(packed) % 2 == 0 and packed and all(c in "0123456789abcdefABCDEF" for c in packed):
            return bytes.fromhex(packed)
        return parse_bytes(text)
    except ValueError as error:
        raise WrongValue(f"bytes such as 55 AA or T=+023.5C<CR><LF>, not {text!r}: {error}") from None


@profile.command(name="try")
@click.argument("source", metavar="URL|FILE")
@click.option("--seconds", default=5.0, show_default=True, help="How long to listen at each setting of the line.")
@click.option("--also", multiple=True, metavar="FILE", help="A profile of your own to try as well.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a profile.")
def try_all(source: str, seconds: float, also: tuple[str, ...], as_json: bool) -> None:
    """Tell which of the known profiles decode what arrives from a port or stands in a file, best first.

    Only listens; an instrument that must be asked keeps silent.

    Example: meterlog profile try /dev/ttyUSB0
    """
    from meterlog.cli.listening import heard

    known = [_load(name) for name in [*shipped.names(_KIND), *also]]
    if Path(source).is_file():
        events = list(events_of(Path(source)))
        rows = [_fit(made, events) for made in known]
    else:
        rows = [_fit(made, events) for made, events in heard(source, known, seconds)]
    rows.sort(key=lambda row: (-row.readings, row.rejected, row.skipped))
    for row in rows:
        if as_json:
            click.echo(json.dumps(asdict(row)))
        elif row.readings:
            gave = f"{row.readings:>6} readings {row.rejected:>6} rejected {row.skipped:>6} bytes skipped"
            click.echo(f"{row.profile:<24} {gave}")
    if not any(row.readings for row in rows):
        click.echo("no profile makes a reading of it; record it, and begin one: meterlog profile new", err=True)
        sys.exit(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileFit:
    """What one profile makes of what came, counted."""

    profile: str
    readings: int
    rejected: int
    skipped: int


def _fit(made: Profile, events: list[Event]) -> ProfileFit:
    found = list(drive(made.conversation(), events))
    return ProfileFit(
        profile=made.key,
        readings=sum(len(o.readings) for o in found if isinstance(o, Frame)),
        rejected=sum(isinstance(o, Rejected) for o in found),
        skipped=sum(len(o.raw) for o in found if isinstance(o, Skipped)),
    )


@profile.command()
@click.argument("kind", type=click.Choice(list(KINDS)))
@click.option("--key", default="my-meter", show_default=True, help="The key of the new profile.")
def new(kind: str, key: str) -> None:
    """Print a commented profile to start from, complete and without a problem.

    \b
    line      one line of text for each measurement
    binary    binary frames of a fixed length
    segments  the lit segments of a display
    polled    text answers to text requests
    modbus    a map of Modbus RTU registers
    parts     comma-separated lines

    Example: meterlog profile new line --key kitchen-thermometer > kitchen-thermometer.yaml
    """
    click.echo(draft(kind, key), nl=False)


@profile.command(name="list")
def list_shipped() -> None:
    """List the profiles that come with meterlog.

    Example: meterlog profile list
    """
    for name in shipped.names(_KIND):
        click.echo(f"{name:<22} {_load(name).title}")


@profile.command()
def schema() -> None:
    """Print the JSON Schema of profiles, for editors that complete and check YAML as you write.

    Example: meterlog profile schema > profile.schema.json
    """
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "A meterlog instrument profile"}
    click.echo(json.dumps({**head, **PROFILE.json_schema()}, indent=2, ensure_ascii=False))


profile.add_command(propose_command)
profile.add_command(learn)
