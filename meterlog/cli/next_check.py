"""`meterlog procedure next` and `meterlog job suggest`: which check a procedure suggests, to argue with."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.cli.options import db_option, json_option
from meterlog.diagnosis.advice import OUTCOMES, NextStep, Question, next_step
from meterlog.diagnosis.sentences import in_ten
from meterlog.files.procedures import procedure_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meterlog.procedure.steps import Procedure


@click.command(name="next")
@click.argument("file")
@click.option("--complaint", default="", help="The complaint, by its name in the procedure.")
@click.option("--outcome", "outcomes", multiple=True, metavar="STEP=OUTCOME", help="What a step came to; repeat.")
@click.option("--renewed", multiple=True, metavar="PART", help="A part renewed in vain; repeat.")
@click.option("--many", is_flag=True, help="Answer questions read as JSON lines, a line each.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object an answer.")
def next_check(
    file: str, complaint: str, outcomes: tuple[str, ...], renewed: tuple[str, ...], many: bool, as_json: bool
) -> None:
    """Suggest the next check, with its reason; it enters no verdict.

    Only a procedure that states its faults can; of any other it names the next step in order.

    Example: meterlog procedure next microwave-oven --complaint no-heat --outcome fuse=pass
    """
    procedure = procedure_of(file)
    if not many:
        asked = Question(complaint=complaint, outcomes=_pairs(outcomes), renewed=renewed)
        _print(_advice(procedure, asked), as_json)
        return
    refused = 0
    for number, line in enumerate(sys.stdin, start=1):
        if line.strip():
            try:
                answer = _advice(procedure, _asked(line, complaint)).as_dict()
            except WrongValue as error:
                refused += 1
                answer = {"error": f"line {number}: {error}"}
            click.echo(json.dumps(answer, ensure_ascii=False))
    if refused:
        sys.exit(WrongValue.exit_code)


def _print(advice: NextStep, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(advice.as_dict(), ensure_ascii=False))
        return
    click.echo(advice.why)
    if advice.step:
        click.echo(f"next: {advice.step}")
    if advice.runners_up:
        click.echo("or: " + ", ".join(advice.runners_up))
    for part, probability in advice.parts:
        click.echo(f"  {part:<32}{in_ten(probability)}")


def _pairs(texts: Iterable[str]) -> dict[str, str]:
    """What `--outcome` said, each STEP=OUTCOME. Raises: WrongValue."""
    read = [tuple(part.strip() for part in text.rpartition("=")) for text in texts]
    for text, (step, equals, _) in zip(texts, read, strict=True):
        if not (step and equals):
            raise WrongValue(f"expected STEP=OUTCOME, saw {text!r}")
    return _each_once((step, outcome) for step, _, outcome in read)


def _each_once(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Pairs as a dict. Raises: WrongValue, where one name says two things."""
    found: dict[str, Any] = {}
    for name, value in pairs:
        if found.setdefault(name, value) != value:
            raise WrongValue(f"{name} is told twice: {found[name]} and {value}")
    return found


def _asked(line: str, complaint: str) -> Question:
    """The question of a JSON line; `complaint` where it names none. Raises: WrongValue."""
    try:
        asked = json.loads(line, object_pairs_hook=_each_once)
    except (json.JSONDecodeError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise WrongValue(f"expected one JSON object such as {EXAMPLE}")
    for name in asked.keys() - KEYS.keys():
        raise WrongValue(f"there is no {name!r}: {near_miss(name, KEYS)}")
    for name, (kind, words) in KEYS.items():
        value = asked.setdefault(name, kind() if name != "complaint" else complaint)
        texts = [value] if kind is str else [*value.values()] if isinstance(value, dict) else value
        if not isinstance(value, kind) or not all(isinstance(text, str) for text in texts):
            raise WrongValue(f"{name!r} is {words}, such as in {EXAMPLE}")
    return Question(**asked)


EXAMPLE = '{"complaint": "no-heat", "outcomes": {"fuse": "fail"}, "renewed": ["fuse"]}'
KEYS: dict[str, tuple[type, str]] = {
    "complaint": (str, "a text"),
    "outcomes": (dict, "an object of texts"),
    "renewed": (list, "a list of texts"),
}


def _advice(procedure: Procedure, asked: Question) -> NextStep:
    """What to do next. Raises: WrongValue, where the procedure knows no such step, outcome, complaint or part."""
    stated = procedure.diagnosis
    parts = [part.name for part in stated.parts] if stated else []
    complaints = [asked.complaint] if asked.complaint and stated else []
    for kind, names, there in (
        ("step", asked.outcomes, [step.key for step in procedure.steps]),
        ("complaint", complaints, stated.complaints if stated else ()),
        ("part", asked.renewed, parts),
    ):
        for name in names:
            if name not in there:
                raise WrongValue(f"{procedure.key} has no {kind} {name!r}: {near_miss(name, there)}")
    for step, outcome in asked.outcomes.items():
        if outcome not in OUTCOMES:
            raise WrongValue(f"{step}: expected one of {', '.join(OUTCOMES)}, saw {outcome!r}")
    return next_step(procedure, asked)


@click.command(name="suggest")
@click.argument("ref", required=False)
@click.option("--complaint", default="", help="The kind of complaint, by its name; left out, as it was entered.")
@click.option("--renewed", multiple=True, metavar="PART", help="A part renewed in vain; repeat.")
@json_option
@db_option
def job_suggest(ref: str | None, complaint: str, renewed: tuple[str, ...], as_json: bool, db: Path) -> None:
    """Suggest the next check of job REF, or of the newest, with its reason; it enters no verdict.

    Example: meterlog job suggest --complaint no-heat
    """
    from meterlog.record import overview
    from meterlog.record.revisit import Revisit
    from meterlog.record.suggested import basis_of
    from meterlog.store.reader import reading

    with reading(db) as reader:
        ref = ref or overview.newest_job(reader)
        kept = overview.job_of(reader, ref)
        procedure = Revisit(reader).procedure(kept.procedure)
        states = {check.key: check.state for check in overview.outcome(reader, ref).checks}
        known = basis_of(reader, ref, procedure, states).question
    asked = replace(known, complaint=complaint or known.complaint, renewed=(*known.renewed, *renewed))
    _print(_advice(procedure, asked), as_json)
