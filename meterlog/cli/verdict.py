"""`meterlog verdict`: how a verdict was reached, down to the bytes."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base.errors import CannotDo
from meterlog.cli.options import db_option, json_option
from meterlog.record.overview import shown
from meterlog.record.writer import Now

if TYPE_CHECKING:
    from meterlog.record.kept import CaptureRecord, ReadingRecord
    from meterlog.record.reader import RecordReader

FRAMES_SHOWN = 12


@click.group()
def verdict() -> None:
    """Show how a verdict was reached."""


@verdict.command()
@click.argument("number", type=int)
@json_option
@db_option
def show(number: int, as_json: bool, db: Path) -> None:
    """The trail of verdict NUMBER: rule and limit, capture, arithmetic, readings, frames, profile. Exit 1 if no pass.

    \b
    meterlog verdict show 3
    """
    from meterlog.judging import Outcome
    from meterlog.store.reader import reading

    with reading(db) as reader:
        trail = verdict_trail(reader, number)
    if as_json:
        click.echo(json.dumps(trail, ensure_ascii=False))
    else:
        click.echo("\n".join(trail_lines(trail)))
    if trail["outcome"] != Outcome.PASS:
        raise SystemExit(1)


def verdict_trail(reader: RecordReader, number: int) -> dict[str, Any]:
    """Everything that a verdict rests on, as plain values. Raises: CannotDo when there is no such verdict."""
    kept = reader.verdict(number)
    if kept is None:
        raise CannotDo(f"there is no verdict {number}", "see a job's verdicts with: meterlog job show REF")
    job = next(job for job in reader.jobs(before=kept.job + 1, most=1))
    step = next(step for step in reader.steps(kept.job) if step.id == kept.step)
    trail: dict[str, Any] = {
        "verdict": number,
        "job": job.ref,
        "step": step.key,
        "title": step.title,
        "points": step.points,
        "outcome": kept.outcome,
        "why": kept.why,
        "result": json.loads(kept.result),
        "supersedes": kept.supersedes,
        "reason": kept.reason,
        "program": kept.program,
        "procedure": kept.procedure,
        "profile": kept.profile,
        "instrument_facts": kept.facts,
        "sealed": {"bench": kept.commit.bench, "commit": kept.commit.number} if kept.commit else None,
    }
    capture = reader.capture(kept.capture) if kept.capture is not None else None
    if capture is not None:
        trail["capture"] = _capture_as_dict(capture)
        trail["readings"] = [_reading_as_dict(each) for each in reader.frames(capture)]
    return trail


def _capture_as_dict(kept: CaptureRecord) -> dict[str, Any]:
    capture = kept.capture
    return {
        "id": kept.id,
        "shown": shown(capture.form, capture.counts),
        "unit": capture.form.unit,
        "quantity": capture.form.quantity,
        "instrument": kept.instrument.name if kept.instrument else None,
        "typed": asdict(capture.typed) if capture.typed else None,
        "how": capture.how,
        "count": capture.count,
        "spread": capture.spread,
        "deviation": capture.deviation,
        "started_s": capture.started,
        "ended_s": capture.ended,
        "first_reading": capture.first,
        "last_reading": capture.last,
        "heating_s": [capture.timing.started, capture.timing.stopped] if capture.timing else None,
    }


def _reading_as_dict(kept: ReadingRecord) -> dict[str, Any]:
    form = kept.reading.form
    return {
        "id": kept.id,
        "utc": Now(kept.utc_ms, 0, "").utc,
        "shown": shown(form, kept.reading.counts),
        "unit": form.unit,
        "flags": ", ".join(form.flags),
        "frame": kept.frame.hex(),
    }


def trail_lines(trail: dict[str, Any]) -> list[str]:
    """The trail as it is printed, top to bottom."""
    result = trail["result"]
    lines = [
        f"Verdict {trail['verdict']}: {trail['outcome'].upper()}",
        f"  {trail['why']}",
        f"Step      {trail['step']}: {trail['title']}" + (f", {trail['points']}" if trail["points"] else ""),
        f"Job       {trail['job']}",
        f"Rule      {result.get('rule') or 'none'}",
    ]
    limit = result.get("limit")
    if limit:
        lines += [f"Limit     {limit['text']}", f"          source: {limit['source']} [{limit['mark']}]"]
    lines += ["Arithmetic", *(f"  {line}" for line in result.get("trail", []))]
    if "capture" in trail:
        lines += _capture_lines(trail)
    if trail["supersedes"]:
        lines.append(f"Supersedes verdict {trail['supersedes']}: {trail['reason']}")
    lines.append(f"Procedure sha256 {trail['procedure']}")
    if trail["profile"]:
        lines.append(f"Profile   sha256 {trail['profile']}")
    lines.append(f"Program   meterlog {trail['program']}")
    return lines


def _capture_lines(trail: dict[str, Any]) -> list[str]:
    capture, readings = trail["capture"], trail["readings"]
    shown = f"{capture['shown']} {capture['unit']}".strip()
    typed = capture["typed"]
    source = f"{capture['how']}, {capture['count']} readings of {capture['instrument']}"
    if typed:
        source = f"typed from {typed['instrument']}, accuracy {typed['accuracy'] or 'not known'}"
    lines = [f"Capture   {capture['id']}: {shown}, {source}"]
    for reading in readings[:FRAMES_SHOWN]:
        frame = bytes.fromhex(reading["frame"]).hex(" ")
        lines.append(f"  {reading['utc']}  {reading['shown']:>9} {reading['unit']:<5}  {frame}")
    if len(readings) > FRAMES_SHOWN:
        lines.append(f"  … and {len(readings) - FRAMES_SHOWN} more; all with --json")
    return lines
