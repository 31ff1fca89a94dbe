"""`meterlog replay`: recordings through the walk of a procedure, as if someone worked now."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base import recording
from meterlog.base.errors import CannotDo, WrongValue
from meterlog.base.source import near_miss
from meterlog.files import shipped
from meterlog.files.procedures import procedure_of
from meterlog.procedure.entries import read_entries
from meterlog.profile import compile_profile
from meterlog.sounds.sentences import catalogue
from meterlog.walk import NOTHING, REPLAY, Happening
from meterlog.walk.happenings import Captured
from meterlog.walk.replay import aligned, check_acts, given, play
from meterlog.walk.session import ByCase, Judged, Session, answers_by

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from meterlog.base.recording import Recording
    from meterlog.judging import Verdict
    from meterlog.procedure.steps import Procedure
    from meterlog.profile import Profile
    from meterlog.walk.session import SessionEvent


@click.command()
@click.option("--procedure", "reference", required=True, metavar="P", help="A procedure's file, or a shipped name.")
@click.option("--profile", "profiles", multiple=True, metavar="[SOURCE=]PROFILE", help="In place of the head's.")
@click.option("--step", "begin", default="", metavar="KEY", help="Begin with this step, not with the first.")
@click.option("--where", default="", metavar="NAME", help="The jurisdiction whose limits hold.")
@click.option("--plate", multiple=True, metavar="NAME=VALUE", help='An entry such as "rated output=900 W".')
@click.option("--strict", is_flag=True, help="Assume nothing: cautions, looks and gates wait for recorded acts.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a capture.")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
def replay(
    reference: str, profiles: tuple[str, ...], begin: str, where: str, plate: tuple[str, ...], strict: bool,
    as_json: bool, recordings: tuple[str, ...],
) -> None:  # fmt: skip
    """Print every capture that recordings give, with its verdict. Several are links of one session.

    Nobody is there to answer, so cautions count as read, a step that only an act or no recorded
    instrument answers is left once the points of a later one are touched, and a gate that would have
    held is passed and told. Recorded acts are played. What else happened goes to stderr.

    Example: meterlog replay --procedure kettle session.txt --json
    """
    procedure = procedure_of(reference)
    if begin and begin not in {step.key for step in procedure.steps}:
        raise WrongValue(f"this procedure has no step {begin!r}")
    if where and where not in procedure.where:
        raise WrongValue(f"this procedure has no limits for {where!r}\n  {near_miss(where, procedure.where)}".rstrip())
    entries = read_entries(procedure, _entries(plate))
    read = named([(path, _recording(path)) for path in recordings])
    known = _profiles(read, profiles)
    case = ByCase(procedure, answers_by(known), where=where, entries=entries)
    links = aligned([(source, each) for source, (_, each) in read.items()])
    gives = {link.source: given(link, known[link.source]) for link in links if link.source in known}
    assume = NOTHING if strict else REPLAY
    session = Session(procedure, known, begin=begin, assume=assume, judge=case, gives=gives)
    row: dict[str, Any] | None = None
    for capture, verdict in captures(_telling(play(session, links), procedure)):
        row = capture_row(capture, verdict)
        click.echo(json.dumps(row, ensure_ascii=False) if as_json else capture_line(row))
    if row is None:
        click.echo("nothing was captured: does `meterlog decode` show readings of what the steps want?", err=True)


def captures(events: Iterable[SessionEvent]) -> Iterator[tuple[Captured, Verdict | None]]:
    """Each capture with the verdict that followed it."""
    waiting: Captured | None = None
    for event in events:
        if isinstance(event, Captured):
            if waiting is not None:
                yield waiting, None
            waiting = event
        elif isinstance(event, Judged) and waiting is not None and event.step == waiting.step:
            yield waiting, event.verdict
            waiting = None
    if waiting is not None:
        yield waiting, None


def capture_row(captured: Captured, verdict: Verdict | None) -> dict[str, Any]:
    """A capture as `--json` prints it: `value` as the display showed it, a decimal text in `unit`."""
    capture = captured.capture
    reading, form = capture.reading, capture.form
    return {
        "step": captured.step,
        "value": None if form.bound else reading.digits,
        "unit": form.unit,
        "bound": form.bound,
        "edge": reading.digits if form.bound and reading.digits else None,
        "t_start": round(capture.started, 3),
        "t_end": round(capture.ended, 3),
        "verdict": verdict.outcome if verdict else None,
        "why": verdict.why if verdict else None,
        "how": capture.how,
        "source": captured.source,
    }


def capture_line(row: dict[str, Any]) -> str:
    """A capture for a person."""
    shown = " ".join(part for part in (row["bound"], row["value"] or row["edge"], row["unit"]) if part)
    span = f"{row['t_start']:.1f} to {row['t_end']:.1f} s"
    return f"{row['step']:24}  {shown:>16}  {span:>20}  {row['how']:12}  {row['verdict'] or ''}"


def named(read: Sequence[tuple[str, Recording]]) -> dict[str, tuple[str, Recording]]:
    """Each recording's path and content by the name of its instrument: the head's, else the file's."""
    out: dict[str, tuple[str, Recording]] = {}
    for path, each in read:
        name = each.head.get("instrument") or Path(path).stem
        number = 2
        while name in out:
            name, number = f"{name} {number}", number + 1
        out[name] = (path, each)
    return out


def _recording(path: str) -> Recording:
    read = recording.parse(shipped.text_of(Path(path)), path)
    check_acts(read, path)
    return read


def _profiles(read: dict[str, tuple[str, Recording]], stated: tuple[str, ...]) -> dict[str, Profile]:
    """The profile of each source: as the command line says, else as the head does."""
    by_source = dict(text.partition("=")[::2] for text in stated if "=" in text)
    for_all = next((text for text in stated if "=" not in text), "")
    for source in by_source:
        if source not in read and all(source not in (path, Path(path).stem) for path, _ in read.values()):
            raise WrongValue(f"no recording comes from {source!r}; there are: {', '.join(read)}")
    out: dict[str, Profile] = {}
    for source, (path, each) in read.items():
        if not each.received:
            continue  # acts and line changes alone need no profile
        names = (source, path, Path(path).stem)
        reference = next((by_source[name] for name in names if name in by_source), for_all)
        reference = reference or each.head.get("profile", "")
        if not reference:
            raise CannotDo(f"{path} names no profile in its head", f"say which: --profile {source}=PROFILE")
        found = _find_profile(reference, Path(path).parent)
        out[source] = compile_profile(shipped.text_of(found), str(found))
    return out


def _find_profile(reference: str, beside: Path) -> Path:
    """A profile's file, one that lies beside the recording, or a shipped one."""
    for candidate in (beside / reference, beside / f"{reference}.yaml"):
        if candidate.is_file():
            return candidate
    return shipped.find(reference, "profiles/instruments")


def _entries(plate: tuple[str, ...]) -> dict[str, str]:
    for entry in plate:
        if "=" not in entry:
            raise WrongValue(f'write an entry as NAME=VALUE, such as "rated output=900 W", not {entry!r}')
    return dict(entry.partition("=")[::2] for entry in plate)


def _telling(events: Iterable[SessionEvent], procedure: Procedure) -> Iterator[SessionEvent]:
    """The events, with what the walk says about them told on the way."""
    say = catalogue().say
    for event in events:
        if isinstance(event, Happening) and not isinstance(event, Captured) and (said := say(event, procedure)):
            click.echo(f"{event.at:9.1f} s  {said}", err=True)
        yield event
