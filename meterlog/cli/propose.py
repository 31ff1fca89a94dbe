"""`meterlog profile propose` and `learn`: a profile from an instrument's bytes and what its display showed."""

from __future__ import annotations

import json
import re
import signal
import sys
import threading
import time
from pathlib import Path

import click

from meterlog.base.errors import CannotDo
from meterlog.base.recording import Event, Recording, parse, write
from meterlog.cli.browse import show_code
from meterlog.cli.listening import listen_to, opened
from meterlog.files import shipped
from meterlog.links.settings import LineSettings
from meterlog.profile.propose import Lesson, Proposal, parse_shows, propose, read_notes

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
@click.option("--page", is_flag=True, help="Ask in a browser, on a page of its own.")
@click.option("--lan", is_flag=True, help="Let a phone on the network in to that page, by a code shown here.")
@click.option("--port", type=click.IntRange(0, 65535), help="The page's port; left out, 8372 or a free one.")
def learn(url: str, output: Path, keep: Path | None, baud: int, page: bool, lan: bool, port: int | None) -> None:
    """Learn an instrument's bytes from what you type of its display, and write its profile.

    Press Enter while the display stands still: that moment counts. Then type what it showed, such as -0.42 mV AC HOLD
    or OL kohm. Turn the dial when you are told that everything so far is known; "done" ends. With --page, or --lan for
    a phone in your hand, a page asks the same.

    \b
    Example: meterlog profile learn /dev/ttyUSB0 -o my-meter.yaml --lan
    """
    if output.exists():
        raise CannotDo(f"{output} is there already", "give another name")
    lesson = Lesson(_key_of(output))
    bench = _Listening(url, baud)
    try:
        if page or lan:
            _ask_on_page(bench, lesson, output, port, lan=lan)
        else:
            _ask(bench, lesson)
        made = lesson.proposal if output.exists() else lesson.concluded()
    finally:
        events = bench.stop()
        if keep is not None:
            _write_new(keep, write(Recording(head={"note": "recorded while learning"}, events=tuple(events))))
    if not made.profile:
        click.echo(f"nothing is proposed: {made.why}", err=True)
        sys.exit(1)
    if not output.exists():
        _write_new(output, made.profile)
    click.echo(f"{output}: {len(made.states_known)} states known; {made.why or 'every state that was seen'}", err=True)


class _Listening:
    """A port that is read in the background, with the time since it was opened."""

    def __init__(self, url: str, baud: int) -> None:
        self._link = opened(url, LineSettings(baud=baud))
        self._events: list[Event] = []
        self._handed = 0
        self._stopped = threading.Event()
        self._lost = ""
        self._began = time.monotonic()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            while not self._stopped.is_set():
                for _ in listen_to(self._link, None, 0.2, self._keep):
                    pass
        except CannotDo as error:
            self._lost = str(error)

    def _keep(self, event: Event) -> None:
        self._events.append(Event(round(self.now, 3), "in", event.data))

    @property
    def now(self) -> float:
        """Seconds since the port was opened."""
        return time.monotonic() - self._began

    def arrived(self) -> list[Event]:
        """What came since this was asked last. Raises: CannotDo when the port is lost."""
        if self._lost:
            raise CannotDo(self._lost)
        new = self._events[self._handed :]
        self._handed += len(new)
        return new

    def stop(self) -> list[Event]:
        self._stopped.set()
        self._thread.join(timeout=2.0)
        self._link.close()
        return list(self._events)


def _ask(bench: _Listening, lesson: Lesson) -> None:
    """Ask at the terminal until the person is done."""
    while True:
        lesson.hear(bench.arrived())
        click.echo(lesson.standing(bench.now).asks, err=True)
        pressed = click.prompt("Enter while the display is still, or done", default="", show_default=False, err=True)
        at = bench.now
        if pressed.strip().lower() in _DONE:
            return
        typed = pressed.strip() or click.prompt("What did it show?", err=True).strip()
        if typed.lower() in _DONE:
            return
        try:
            note = parse_shows(typed, round(at, 3))
        except ValueError as error:
            click.echo(str(error), err=True)
            continue
        lesson.hear(bench.arrived())
        if left_out := lesson.note(note):
            click.echo(left_out, err=True)


def _ask_on_page(bench: _Listening, lesson: Lesson, output: Path, port: int | None, *, lan: bool) -> None:
    """Serve the page until it has written the profile, or Ctrl-C."""
    from meterlog.web import serve
    from meterlog.web.door import Door
    from meterlog.web.learn import LearnPage

    opening = serve.open_address(port, lan)

    def save(profile: str) -> str:
        _write_new(output, profile)
        return f"It is kept as {output}, on the machine at the instrument."

    page = LearnPage(lesson, bench, save, lambda: signal.raise_signal(signal.SIGINT))
    click.echo(f"The lesson is open at {opening.url} (Ctrl-C ends it, and keeps what is known)", err=True)
    if lan:
        show_code(opening.lan_url, "note what the display shows")
    serve.run(Door(page, opening.token, opening.hosts, home="/"), opening)
