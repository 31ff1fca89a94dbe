"""`meterlog decode`: what a file of an instrument's bytes says, by a profile."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base import recording
from meterlog.base.errors import CannotDo, WrongText
from meterlog.base.readings import Frame, Reading, Rejected, StreamOutcome
from meterlog.conversation.drive import drive
from meterlog.conversation.framing import Silence
from meterlog.files import shipped
from meterlog.profile import compile_profile
from meterlog.profile.compile.compiler import without_examples
from meterlog.profile.compile.examples import shown

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from meterlog.profile import Profile


def events_of(path: Path) -> Iterable[recording.Event]:
    """The events of a recording; a file of raw bytes is one event. Raises: CannotDo, WrongText."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise CannotDo(f"{path} can't be read: {error.strerror}") from None
    if data.startswith(recording.FIRST_LINE.encode()):
        return recording.parse(data.decode("utf-8", "replace"), str(path)).events
    return [recording.Event(0.0, "in", data)]


def _has_times(path: Path) -> bool:
    return path.read_bytes()[: len(recording.FIRST_LINE)] == recording.FIRST_LINE.encode()


def as_far_as_it_reads(path: Path) -> Profile:
    """The profile of a file, though its examples may fail, which is told. Raises: WrongText for anything else."""
    text = shipped.text_of(path)
    try:
        return compile_profile(text, str(path))
    except WrongText:
        profile = without_examples(text, str(path))
    click.echo(f"{path}: an example fails; see: meterlog profile check {path}", err=True)
    return profile


def rows(outcome: StreamOutcome) -> Iterator[dict[str, Any]]:
    """An outcome as the objects that `--json` prints."""
    where = {"offset": outcome.start, "raw": outcome.raw.hex()}
    if isinstance(outcome, Frame):
        for reading in outcome.readings:
            yield {**reading_row(reading), **where}
    elif isinstance(outcome, Rejected):
        yield {"kind": "rejected", "reason": outcome.reason, **where}
    else:
        yield {"kind": "skipped", "count": len(outcome.raw), "offset": outcome.start}


def reading_row(reading: Reading) -> dict[str, Any]:
    form = reading.form
    return {
        "kind": "reading",
        "quantity": form.quantity,
        "value": None if form.bound else reading.digits,
        "bound": form.bound,
        "edge": reading.digits if form.bound and reading.digits else None,
        "unit": form.unit,
        "mode": form.mode,
        "flags": list(form.flags),
        "channel": form.channel,
    }


def line(row: dict[str, Any], reading: Reading | None) -> str:
    """A row for a person."""
    at = f"{row['offset']:>8}  "
    if reading is not None:
        return at + shown(reading)
    return at + (f"rejected: {row['reason']}" if row["kind"] == "rejected" else f"skipped {row['count']} bytes")


@click.command()
@click.argument("profile")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def decode(profile: str, file: Path, as_json: bool) -> None:
    """Decode FILE (a recording, or raw bytes) by PROFILE (a path, or the key of a shipped profile).

    \b
    meterlog decode ascii-thermometer capture.bin --json
    """
    path = shipped.find(profile, "profiles/instruments")
    compiled = as_far_as_it_reads(path)
    if isinstance(compiled.framer, Silence) and not _has_times(file):
        raise CannotDo(
            f"{compiled.key} parts its frames by silence, and {file} holds no times",
            "record it with: meterlog record URL FILE; a recording keeps when each byte came",
        )
    count: Counter[str] = Counter()
    for outcome in drive(compiled.conversation(), events_of(file)):
        readings = outcome.readings if isinstance(outcome, Frame) else (None,)
        for row, reading in zip(rows(outcome), readings, strict=True):
            count[row["kind"]] += 1 if row["kind"] != "skipped" else row["count"]
            click.echo(json.dumps(row) if as_json else line(row, reading))
    click.echo(f"{count['reading']} readings, {count['rejected']} rejected, {count['skipped']} bytes skipped", err=True)
