"""`meterlog verdict`: how a verdict was reached, down to the bytes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.cli.options import db_option, json_option

if TYPE_CHECKING:
    from meterlog.store.reader import Reader

FRAMES_SHOWN = 12


@click.group()
def verdict() -> None:
    """Show how a verdict was reached."""


@verdict.command()
@click.argument("number", type=int)
@json_option
@db_option
def show(number: int, as_json: bool, db: Path) -> None:
    """The trail of verdict NUMBER: rule and limit, capture, arithmetic, readings, frames, profile.

    \b
    meterlog verdict show 3
    """
    from meterlog.store.reader import Reader

    with Reader(db) as reader:
        trail = verdict_trail(reader, number)
    if as_json:
        click.echo(json.dumps(trail, ensure_ascii=False))
    else:
        click.echo("\n".join(trail_lines(trail)))


def verdict_trail(reader: Reader, number: int) -> dict[str, Any]:
    """Everything that a verdict rests on, as plain values."""
    row = reader.verdict(number)
    trail: dict[str, Any] = {
        "verdict": number,
        "job": row["ref"],
        "step": row["step_key"],
        "title": row["title"],
        "points": row["points"],
        "outcome": row["outcome"],
        "why": row["why"],
        "result": json.loads(row["result"]),
        "supersedes": row["supersedes"],
        "reason": row["reason"],
        "program": row["program"],
        "procedure": row["procedure"],
        "profile": row["profile"],
        "instrument_facts": row["facts"],
    }
    if row["capture"] is not None:
        capture = reader.capture(row["capture"])
        trail["capture"] = capture
        trail["readings"] = reader.readings(capture)
    return trail


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
    lines = [
        f"Capture   {capture['id']}: {shown}, {capture['how']}, {capture['count']} readings of {capture['instrument']}"
    ]
    for reading in readings[:FRAMES_SHOWN]:
        frame = bytes.fromhex(reading["frame"]).hex(" ")
        lines.append(f"  {reading['utc']}  {reading['shown']:>9} {reading['unit']:<5}  {frame}")
    if len(readings) > FRAMES_SHOWN:
        lines.append(f"  … and {len(readings) - FRAMES_SHOWN} more; all with --json")
    return lines
