"""`meterlog profile propose` and `learn`: a profile from an instrument's bytes and what its display showed."""

from __future__ import annotations

import json
import re
import sys
import threading
import time
from pathlib import Path

import click

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event, Recording, parse, write
from meterlog.cli.listening import listen, opened
from meterlog.files import shipped
from meterlog.links.settings import LineSettings
from meterlog.profile.propose import DisplayNote, Proposal, parse_shows, propose, read_notes

_DONE = ("done", "end", "q")


@click.command(name="propose")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--notes", "notes_file", type=click.Path(path_type=Path), help="CSV of t_s,shows: what the display said.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write the profile here; else to stdout.")
@click.option("--json", "as_json", is_flag=True, help="The proposal as one JSON object.")
def propose_command(recording: Path, notes_file: Path | None, output: Path | None, as_json: bool) -> None:
    """Propose how an unknown instrument's bytes are cut, proved and, with notes, read; exit 1 when nothing can be.

    A state that no note has shown is never guessed: its frames are rejected until somebody says what they show.

    \b
    Example: meterlog profile propose unknown.txt --notes notes.csv -o my-meter.yaml
    """
    events = parse(shipped.text_of(recording), str(recording)).events
    notes = read_notes(shipped.text_of(notes_file), str(notes_file)) if notes_file else ()
    made = propose(events, notes, _key_of(output or recording))
    if output is not None and made.profile:
        _write_new(output, made.profile)
    if as_json:
        click.echo(json.dumps(made.as_json, ensure_ascii=False))
    else:
        _tell(made)
        if made.profile and output is None:
            click.echo(made.profile, nl=False)
    sys.exit(0 if made.framing is not None and (made.profile or not notes) else 1)


def _key_of(path: Path) -> str:
    key = re.sub(r"[^a-z0-9]+", "-", path.stem.lower()).strip("-")
    return key if re.match(r"[a-z]", key) else "my-meter"


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError:
        raise CannotDo(f"{path} is there already", "give another name") from None
    except OSError as error:
        raise CannotDo(f"cannot write {path}: {error.strerror}") from None


def _tell(made: Proposal) -> None:
    """What is known and what it rests on, in words."""
    framing, check = made.framing, made.check
    if framing is None:
        click.echo(f"nothing is proposed: {made.why}", err=True)
        return
    click.echo(f"frames: {framing.kind}, {framing.explained} of {framing.bursts} bursts", err=True)
    click.echo(
        f"check: {check.name}, holds for {check.frames} different frames" if check else "check: none found", err=True
    )
    if made.transform:
        click.echo(f"bytes are turned: {', '.join(made.transform)}", err=True)
    for words in made.states_known:
        click.echo(f"known: {words}", err=True)
    if made.why:
        click.echo(made.why, err=True)
    if made.ask_at:
        click.echo("a note would teach most at " + ", ".join(f"{at:g} s" for at in made.ask_at[:5]), err=True)


@click.command()
@click.argument("url")
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, help="Write the profile here.")
@click.option("--recording", "keep", type=click.Path(path_type=Path), help="Keep the bytes here too.")
@click.option("--baud", default=9600, show_default=True, help="Bits a second.")
def learn(url: str, output: Path, keep: Path | None, baud: int) -> None:
    """Learn an instrument's bytes from what you type of its display, and write its profile.

    Press Enter while the display stands still: that moment counts. Then type what it showed, such as -0.42 mV AC HOLD
    or OL kohm. Turn the dial when you are told that everything so far is known; "done" ends.

    \b
    Example: meterlog profile learn /dev/ttyUSB0 -o my-meter.yaml
    """
    if output.exists():
        raise CannotDo(f"{output} is there already", "give another name")
    bench = _Listening(url, baud)
    notes: list[DisplayNote] = []
    try:
        made = _ask(bench, notes, _key_of(output))
    finally:
        events = bench.stop()
        if keep is not None:
            _write_new(keep, write(Recording(head={"note": "recorded while learning"}, events=tuple(events))))
    if not made.profile:
        click.echo(f"nothing is proposed: {made.why}", err=True)
        sys.exit(1)
    _write_new(output, made.profile)
    click.echo(f"{output}: {len(made.states_known)} states known; {made.why or 'every state that was seen'}", err=True)


class _Listening:
    """A port that is read in the background, with the time since it was opened."""

    def __init__(self, url: str, baud: int) -> None:
        self._link = opened(url, LineSettings(baud=baud))
        self._events: list[Event] = []
        self._stopped = threading.Event()
        self._lost = ""
        self._began = time.monotonic()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            while not self._stopped.is_set():
                for _ in listen(self._link, None, 0.2, self._keep):
                    pass
        except CannotDo as error:
            self._lost = str(error)

    def _keep(self, event: Event) -> None:
        self._events.append(Event(round(self.now, 3), "in", event.data))

    @property
    def now(self) -> float:
        """Seconds since the port was opened."""
        return time.monotonic() - self._began

    @property
    def events(self) -> list[Event]:
        """What came so far. Raises: CannotDo when the port is lost."""
        if self._lost:
            raise CannotDo(self._lost)
        return list(self._events)

    def stop(self) -> list[Event]:
        self._stopped.set()
        self._thread.join(timeout=2.0)
        self._link.close()
        return list(self._events)


def _ask(bench: _Listening, notes: list[DisplayNote], name: str) -> Proposal:
    """Ask until the person is done; answers the last proposal."""
    while True:
        made = propose(bench.events, notes, name)
        click.echo(_where_it_stands(made, notes), err=True)
        pressed = click.prompt("Enter while the display is still, or done", default="", show_default=False, err=True)
        at = bench.now
        if pressed.strip().lower() in _DONE:
            return made
        typed = pressed.strip() or click.prompt("What did it show?", err=True).strip()
        if typed.lower() in _DONE:
            return made
        try:
            notes.append(parse_shows(typed, round(at, 3)))
        except ValueError as error:
            click.echo(str(error), err=True)
            continue
        made = propose(bench.events, notes, name)
        if not made.profile and len(notes) > 1 and propose(bench.events, notes[:-1], name).profile:
            wrong = notes.pop()
            click.echo(f"left out, it does not go with the others: {wrong.typed} ({made.why})", err=True)


def _where_it_stands(made: Proposal, notes: list[DisplayNote]) -> str:
    if made.framing is None:
        return f"listening: {made.why}: wait, then press Enter"
    if not made.profile:
        return (
            f"frames: {made.framing.kind}. {made.why}"
            if notes
            else f"frames: {made.framing.kind}. What does the display show?"
        )
    if made.states_unknown:
        unseen = "the display has shown a state that I have not seen: what does it say there?"
        return f"{len(made.states_known)} states known; {unseen}"
    return f"all {len(made.states_known)} states that were seen are known: turn the dial, or type done"
