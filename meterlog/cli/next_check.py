"""`meterlog procedure next` and `meterlog job suggest`: which check a procedure suggests, to argue with."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.cli.options import db_option, json_option
from meterlog.diagnosis.advice import NextStep, advise, in_ten
from meterlog.files import shipped
from meterlog.procedure.language import read_procedure

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.procedure.steps import Procedure

OUTCOMES = ("pass", "fail", "undecided", "not judged", "looked", "override", "skipped")


@click.command(name="next")
@click.argument("file")
@click.option("--complaint", default="", help="The complaint, by its name in the procedure.")
@click.option("--outcome", "outcomes", multiple=True, metavar="STEP=OUTCOME", help="What a step came to; repeat.")
@click.option("--renewed", multiple=True, metavar="PART", help="A part renewed in vain; repeat.")
@click.option("--many", is_flag=True, help="Read questions as JSON lines: complaint, outcomes, renewed.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object an answer.")
def next_check(
    file: str, complaint: str, outcomes: tuple[str, ...], renewed: tuple[str, ...], many: bool, as_json: bool
) -> None:
    """Suggest the next check, with its reason; it enters no verdict.

    Only a procedure that states its faults can; of any other it names the next step in order.

    Example: meterlog procedure next microwave-oven --complaint no-heat --outcome fuse=pass
    """
    path = shipped.find(file, "profiles/procedures")
    procedure = read_procedure(shipped.text_of(path), str(path))
    if many:
        for number, line in enumerate(sys.stdin, start=1):
            if line.strip():
                click.echo(json.dumps(_plain(_asked(procedure, line, number)), ensure_ascii=False))
        return
    advice = _advice(procedure, complaint, dict(_pair(text) for text in outcomes), renewed)
    _print(advice, as_json)


def _print(advice: NextStep, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(_plain(advice), ensure_ascii=False))
        return
    click.echo(advice.why)
    if advice.step:
        click.echo(f"next: {advice.step}")
    if advice.runners_up:
        click.echo("or: " + ", ".join(advice.runners_up))
    for part, probability in advice.parts:
        click.echo(f"  {part:<32}{in_ten(probability)}")


def _pair(text: str) -> tuple[str, str]:
    step, equals, outcome = text.partition("=")
    if not equals:
        raise WrongValue(f"expected STEP=OUTCOME, saw {text!r}")
    return step.strip(), outcome.strip()


def _asked(procedure: Procedure, line: str, number: int) -> NextStep:
    try:
        asked = json.loads(line)
        outcomes = {str(step): str(outcome) for step, outcome in dict(asked.get("outcomes", {})).items()}
        renewed = [str(part) for part in asked.get("renewed", [])]
        complaint = str(asked.get("complaint", ""))
    except (ValueError, AttributeError, TypeError, RecursionError):
        expected = '{"complaint": "…", "outcomes": {"step": "fail"}}'
        raise WrongValue(f"line {number}: expected one JSON object such as {expected}") from None
    return _advice(procedure, complaint, outcomes, renewed)


def _advice(procedure: Procedure, complaint: str, outcomes: Mapping[str, str], renewed: Iterable[str]) -> NextStep:
    steps = [step.key for step in procedure.steps]
    for step, outcome in outcomes.items():
        if step not in steps:
            raise WrongValue(f"{procedure.key} has no step {step!r}\n  {near_miss(step, steps)}")
        if outcome not in OUTCOMES:
            raise WrongValue(f"{step}: expected one of {', '.join(OUTCOMES)}, saw {outcome!r}")
    stated = procedure.diagnosis
    if stated and complaint and complaint not in stated.complaints:
        raise WrongValue(f"{procedure.key} has no complaint {complaint!r}; it has: {', '.join(stated.complaints)}")
    parts = [part.name for part in stated.parts] if stated else []
    for part in renewed:
        if part not in parts:
            raise WrongValue(f"{procedure.key} has no part {part!r}\n  {near_miss(part, parts)}")
    return advise(procedure, complaint, outcomes, list(renewed))


def _plain(advice: NextStep) -> dict[str, Any]:
    return {
        "next": advice.step,
        "why": advice.why,
        "runners_up": list(advice.runners_up),
        "parts": [{"part": part, "probability": round(probability, 4)} for part, probability in advice.parts],
        "renew": list(advice.renew),
        "stop": advice.is_stop,
    }


@click.command(name="suggest")
@click.argument("ref", required=False)
@click.option("--complaint", default="", help="The complaint, by its name in the procedure.")
@click.option("--renewed", multiple=True, metavar="PART", help="A part renewed in vain; repeat.")
@json_option
@db_option
def job_suggest(ref: str | None, complaint: str, renewed: tuple[str, ...], as_json: bool, db: Path) -> None:
    """Suggest the next check of job REF, or of the newest, with its reason; it enters no verdict.

    Example: meterlog job suggest --complaint no-heat
    """
    from meterlog.record import overview
    from meterlog.record.revisit import Revisit
    from meterlog.store.reader import reading

    with reading(db) as reader:
        ref = ref or overview.newest_job(reader)
        outcome = overview.outcome(reader, ref)
        kept = reader.job(ref)
        assert kept is not None
        procedure = Revisit(reader).procedure(kept.procedure)
    outcomes = {check.key: _STATES.get(check.state, check.state) for check in outcome.checks}
    known = {step: state for step, state in outcomes.items() if state in OUTCOMES}
    _print(_advice(procedure, complaint, known, renewed), as_json)


_STATES = {"found wanting": "fail", "computed": "pass", "recorded": "not judged", "passed over": "skipped"}
"""How a check stands in a job, in the words of a suggestion; what is to be done again counts as not done."""
