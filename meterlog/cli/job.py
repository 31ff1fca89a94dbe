"""`meterlog job`: open a job, walk it, look at it."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base.errors import CannotDo, WrongValue
from meterlog.cli.next_check import job_suggest
from meterlog.cli.options import VALUE_SETTINGS, ValueCommand, db_option, json_option, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.daemon.status import Status
    from meterlog.walk import Snapshot
    from meterlog.walk.phases import Offer

PLAIN_ACTS = {
    "next": "Go on to the next step.",
    "back": "Go back one step.",
    "again": "Measure this step again; what was captured stays.",
    "confirm": "Confirm what the meter shows now.",
    "acknowledge": "Say that the cautions were read.",
    "press": "What a pedal would do: the one act that is asked now.",
    "start": "Start of a timed step or heating run.",
    "stop": "End of a timed step or heating run.",
}
"""Acts that need no more words."""


@click.group()
def job() -> None:
    """Open a job, walk through its steps, look at what was found."""


@job.command("open")
@click.argument("procedure")
@click.option("--ref", help="The job's reference; made from the date where left out.")
@click.option("--plate", multiple=True, metavar="ENTRY=VALUE", help='From the rating plate: "rated output=900 W".')
@click.option("--owner", default="", help="Whose it is. Kept apart, can be erased.")
@click.option("--complaint", default="", help="What it does wrong. Kept apart, can be erased.")
@click.option("--serial-number", default="", help="The appliance's own number. Kept apart, can be erased.")
@click.option("--where", default="", help="Whose limits rule here, by the name that the procedure gives them.")
@db_option
def open_job(
    procedure: str, ref: str | None, plate: tuple[str, ...], owner: str, complaint: str, serial_number: str,
    where: str, db: Path,
) -> None:  # fmt: skip
    """Open a job under a PROCEDURE (a shipped one's key, or a file).

    \b
    meterlog job open microwave-oven --plate "rated output=900 W" --complaint "hums, does not heat"
    """
    entries = dict(_pair(entry) for entry in plate)
    personal = {"owner": owner, "complaint": complaint, "serial number": serial_number}
    told = {name: value for name, value in personal.items() if value}
    if sys.stdin.isatty():
        entries |= ask_entries(procedure, entries)
    path = str(Path(procedure).resolve()) if Path(procedure).is_file() else procedure
    answer = _ask(db, "open job", procedure=path, ref=ref, plate=entries, personal=told, where=where)
    click.echo(answer["job"])
    for name in answer["absent"]:
        click.echo(
            f"steps ask for the instrument {name!r}, which this bench does not have: give one that name, type what "
            "it shows, or skip them with the reason",
            err=True,
        )
    walk = _status(db).walk
    click.echo("\n".join(_where(walk) if walk else ()), err=True)


def ask_entries(procedure: str, told: Mapping[str, str]) -> dict[str, str]:
    """What a procedure needs from the plate and was not told, asked one by one; each is read when it is typed."""
    from meterlog.files.procedures import procedure_of
    from meterlog.procedure.entries import examples_of, read_entry

    wants, entered = procedure_of(procedure), {}
    for name in (name for name in wants.entries if name not in told):
        question = f"{name} ({examples_of(wants, name)}; empty when not known)"
        while text := click.prompt(question, default="", show_default=False, err=True).strip():
            try:
                entered[name] = read_entry(wants, name, text).text
                break
            except WrongValue as refused:
                click.echo(str(refused), err=True)
    return entered


def _pair(entry: str) -> tuple[str, str]:
    name, equals, value = entry.partition("=")
    if not equals or not name.strip() or not value.strip():
        raise click.BadParameter(f'write "rated output=900 W", not {entry!r}', param_hint="--plate")
    return name.strip(), value.strip()


@job.command("enter")
@click.argument("entries", nargs=-1, required=True, metavar="ENTRY=VALUE...")
@json_option
@db_option
def enter(entries: tuple[str, ...], as_json: bool, db: Path) -> None:
    """Tell what was learned since the job was opened, such as the water's mass.

    \b
    meterlog job enter "water mass=1000 g ± 2 g"
    """
    _tell(_walk(db, "enter", entries=dict(_pair(entry) for entry in entries)), as_json)


@job.command("close")
@click.option("--yes", is_flag=True, help="Close it as it stands, without being asked.")
@db_option
def close_job(yes: bool, db: Path) -> None:
    """Close the job at hand, once its outcome was shown: nothing more is tagged with it."""
    from meterlog.record import overview
    from meterlog.record.outcome import Word
    from meterlog.store.reader import reading

    at_hand = _status(db).job
    if at_hand is None:
        raise CannotDo("no job is at hand", "open one with: meterlog job open PROCEDURE")
    with reading(db) as reader:
        found = overview.outcome(reader, at_hand.ref)
    click.echo("\n".join(overview.outcome_lines(found)), err=True)
    if found.word is not Word.PASSED and not yes and not _agreed("Close it as it stands?"):
        click.echo("the job stays open\n  to close it as it stands: meterlog job close --yes", err=True)
        raise SystemExit(1)
    _ask(db, "close job")


def _agreed(question: str) -> bool:
    """Whether the person says yes; whoever says nothing does not."""
    try:
        return click.confirm(question, err=True)
    except click.Abort:
        click.echo(err=True)
        return False


@job.command("fitted")
@click.argument("part")
@click.option("--marking", default="", help="What is printed on it.")
@click.option("--why", default="", help="Why it may stand in for the old one.")
@click.option("--check", default="", help="The step that was its incoming check.")
@json_option
@db_option
def part_fitted(part: str, marking: str, why: str, check: str, as_json: bool, db: Path) -> None:
    """Say that a PART was fitted; it stands on the hand-over sheet.

    \b
    meterlog job fitted "run capacitor" --marking "8 uF 450 V~" --why "same value, class and voltage" --check capacitor
    """
    _tell(_walk(db, "part fitted", part=part, marking=marking, why=why, check=check), as_json)


@job.command("did")
@click.argument("text")
@json_option
@db_option
def work_done(text: str, as_json: bool, db: Path) -> None:
    """Say what was done to the appliance; it stands on the hand-over sheet.

    \b
    meterlog job did "plug replaced, scale taken off the element"
    """
    _tell(_walk(db, "work done", text=text), as_json)


@job.command("aside")
@click.option("--reason", default="", help="What it waits for; it stands in the record.")
@db_option
def lay_aside(reason: str, db: Path) -> None:
    """Lay the job at hand aside, open as it is, for another one; take it up again with: meterlog job take.

    \b
    meterlog job aside --reason "waits for the element"
    """
    _ask(db, "lay aside", reason=reason)


@job.command("take")
@click.argument("ref")
@click.option("--reason", default="", help="Why; asked for where the job was closed.")
@json_option
@db_option
def take_up(ref: str, reason: str, as_json: bool, db: Path) -> None:
    """Put job REF at hand again, laid aside or closed; proofs are given anew, captures stand.

    \b
    meterlog job take K-7 --reason "came back: trips again"
    """
    _tell(_walk(db, "take up", job=ref, reason=reason), as_json)


def _ask(db: Path, do: str, **more: Any) -> dict[str, Any]:
    from meterlog.daemon.client import ask

    return ask(db, do, who="command line", **more)


def _walk(db: Path, do: str, **more: Any) -> Snapshot:
    from meterlog.daemon.client import walk_after

    return walk_after(db, do, who="command line", **more)


def _status(db: Path) -> Status:
    from meterlog.daemon.client import status_of

    return status_of(db)


def _act(db: Path, as_json: bool, word: str, **more: Any) -> None:
    """Do an act meant for the step at hand; where two are at work, what the other did meanwhile refuses it."""
    from meterlog.daemon.client import act

    walk = _status(db).walk
    if walk is None:
        raise CannotDo("no job is at hand", "open one with: meterlog job open PROCEDURE")
    try:
        done = act(db, walk, word, who="command line", **more)
    except CannotDo as refused:
        if refused.hint:
            raise
        raise CannotDo(str(refused), "\n  ".join([f"now: {walk.words}", *_offers(walk)])) from None
    _tell(done, as_json)


def _tell(walk: Snapshot, as_json: bool) -> None:
    click.echo(json.dumps(asdict(walk), ensure_ascii=False) if as_json else "\n".join(_where(walk)))


def _where(walk: Snapshot) -> list[str]:
    """Where the walk stands: cautions first, then the step at hand and what it waits for."""
    lines = [f"caution: {caution}" for caution in walk.cautions] if walk.phase == "cautions" else []
    lines += [f"{step.key}: {step.title}" for step in walk.steps if step.key == walk.step]
    lines += [f"waits for {need}" for need in walk.needs]
    return [*lines, walk.words, *_offers(walk)]


def _offers(walk: Snapshot) -> list[str]:
    """The acts that are offered now, as they are typed."""
    return [f"  meterlog job {_typed(offer)}" for offer in walk.acts]


def _typed(offer: Offer) -> str:
    """An offered act as it is typed."""
    if offer.word == "go to":
        return f"go {offer.to}"
    if not offer.asks:
        return offer.word
    return f"{offer.word} --reason WHY" if offer.word in ("skip", "override") else f"{offer.word} TEXT"


def _plain_act(word: str, sentence: str) -> click.Command:
    @click.command(word, help=sentence)
    @json_option
    @db_option
    def act(as_json: bool, db: Path) -> None:
        _act(db, as_json, word)

    return act


for _word, _sentence in PLAIN_ACTS.items():
    job.add_command(_plain_act(_word, _sentence))


@job.command("go")
@click.argument("step")
@json_option
@db_option
def go_to(step: str, as_json: bool, db: Path) -> None:
    """Take a STEP out of order."""
    _act(db, as_json, "go to", to=step)


@job.command("immersed")
@click.argument("vessel", type=click.Choice(["first", "second"]), required=False)
@json_option
@db_option
def immersed(vessel: str | None, as_json: bool, db: Path) -> None:
    """Say that the whole probe is under, before heating and after; of two vessels, in which VESSEL."""
    _act(db, as_json, "immersed", to=vessel or "")


@job.command("wanting")
@click.argument("text")
@json_option
@db_option
def wanting(text: str, as_json: bool, db: Path) -> None:
    """Say that what was looked at is found wanting, and how."""
    _act(db, as_json, "wanting", text=text)


@job.command("skip")
@click.option("--reason", required=True, help="Why; it stands in the record.")
@json_option
@db_option
def skip(reason: str, as_json: bool, db: Path) -> None:
    """Skip the step at hand, with a reason."""
    _act(db, as_json, "skip", reason=reason)


@job.command("override")
@click.option("--reason", required=True, help="Why; it stands in the record and in the report.")
@json_option
@db_option
def override(reason: str, as_json: bool, db: Path) -> None:
    """Go on without what the step at hand waits for, with a written reason."""
    _act(db, as_json, "override", reason=reason)


@job.command("note")
@click.argument("text")
@json_option
@db_option
def note(text: str, as_json: bool, db: Path) -> None:
    """Keep a note with the step at hand."""
    _act(db, as_json, "note", text=text)


@job.command("type", cls=ValueCommand, context_settings=VALUE_SETTINGS)
@click.argument("value")
@click.option("--instrument", required=True, help="Whose display showed it, as its plate names it.")
@click.option("--accuracy", default="", help='As its plate or manual prints it: "2 % + 3 counts".')
@json_option
@db_option
def type_reading(value: str, instrument: str, accuracy: str, as_json: bool, db: Path) -> None:
    """Type the VALUE that an instrument showed which is not heard: one without a data port, or a borrowed one.

    It is judged like any other and marked as typed wherever it is shown; "0.35 ohm nulled" where the instrument took
    its leads off.

    \b
    meterlog job type "0.09 ohm" --instrument "earth tester 25 A" --accuracy "2 % + 3 counts"
    """
    from meterlog.procedure.typed import typed_text

    _act(db, as_json, "type", text=typed_text(value, instrument, accuracy))


@job.command("erase")
@click.argument("ref")
@click.confirmation_option(prompt="Owner, complaint, notes and photographs of this job go for good. Erase them?")
@db_option
def erase(ref: str, db: Path) -> None:
    """Erase the personal fields of job REF; the evidence, and that this was done, stay."""
    answer = _ask(db, "erase", job=ref)
    click.echo(f"{answer['erased']} personal fields erased", err=True)
    if answer["still_there"]:
        click.echo(f"still there until it is finished by itself: {answer['still_there']}", err=True)


@job.command("list")
@json_option
@db_option
def list_jobs(as_json: bool, db: Path) -> None:
    """The last jobs, the newest first."""
    from meterlog.record import overview
    from meterlog.store.reader import reading

    with reading(db) as reader:
        found = overview.jobs(reader)
    table(found, ("ref", "appliance", "opened", "pass", "fail", "undecided"), as_json)
    if not found:
        click.echo("no job is kept yet\n  open one with: meterlog job open PROCEDURE", err=True)


@job.command("show")
@click.argument("ref", required=False)
@json_option
@db_option
def show(ref: str | None, as_json: bool, db: Path) -> None:
    """The steps of job REF, or of the newest, with what was concluded; then its outcome and what is missing."""
    from meterlog.record import overview
    from meterlog.store.reader import reading

    with reading(db) as reader:
        ref = ref or overview.newest_job(reader)
        steps = overview.steps(reader, ref)
        table(steps, ("step", "points", "shown", "unit", "typed", "outcome", "verdict", "why"), as_json)
        click.echo("\n".join(overview.outcome_lines(overview.outcome(reader, ref))), err=True)


job.add_command(job_suggest)
