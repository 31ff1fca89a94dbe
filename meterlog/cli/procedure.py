"""`meterlog procedure`: check, show and begin the procedures of a workshop."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from operator import attrgetter

import click

from meterlog.base.errors import WrongText, WrongValue
from meterlog.base.source import near_miss
from meterlog.cli.next_check import next_check
from meterlog.files import shipped
from meterlog.files.procedures import offered, procedure_path
from meterlog.procedure.cautions import CAUTIONS
from meterlog.procedure.draft import draft
from meterlog.procedure.language import PROCEDURE, read_procedure
from meterlog.procedure.shapes import NAME
from meterlog.procedure.sheet import job_sheet


@click.group()
def procedure() -> None:
    """The ordered steps for a type of appliance: check, show, begin one of your own.

    Example: meterlog procedure show microwave-oven
    """


@procedure.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a file.")
def check(files: tuple[str, ...], as_json: bool) -> None:
    """Tell everything that is wrong in procedures; exit 1 when something is.

    Example: meterlog procedure check my-kettle.yaml
    """
    wrong = False
    for reference in files:
        path = procedure_path(reference)
        try:
            read = read_procedure(shipped.text_of(path), str(path))
        except WrongText as error:
            wrong = True
            _tell_problems(str(path), error, as_json)
        else:
            fine = {"file": str(path), "procedure": read.key, "steps": len(read.steps), "problems": []}
            click.echo(json.dumps(fine) if as_json else f"{path}: {read.key}, {len(read.steps)} steps, no problem")
    sys.exit(1 if wrong else 0)


def _tell_problems(name: str, error: WrongText, as_json: bool) -> None:
    if not as_json:
        click.echo(str(error), err=True)
        return
    problems = [problem.as_row() for problem in error.problems]
    click.echo(json.dumps({"file": name, "problems": problems}, ensure_ascii=False))


@procedure.command()
@click.argument("file")
@click.option("--where", default="", help="Limits of this jurisdiction only.")
@click.option("--json", "as_json", is_flag=True, help="The procedure as one JSON object, values in SI.")
def show(file: str, where: str, as_json: bool) -> None:
    """Print a procedure, shipped or your own, as a job sheet.

    Example: meterlog procedure show safety-class-1 --where europe
    """
    path = procedure_path(file)
    read = read_procedure(shipped.text_of(path), str(path))
    if where and where not in read.where:
        hint = near_miss(where, read.where) or "its limits do not depend on the jurisdiction"
        raise WrongValue(f"{read.key} has no limits for {where!r}\n  {hint}")
    if as_json:
        steps = [{**asdict(step), "kind": step.kind.name} for step in read.steps]
        click.echo(json.dumps({**asdict(read), "steps": steps}, ensure_ascii=False))
    else:
        click.echo(job_sheet(read, where), nl=False)


@procedure.command(name="list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a procedure.")
def list_(as_json: bool) -> None:
    """List the procedures that come with meterlog, and your own in their folder; both are offered on the bench page.

    Example: meterlog procedure list
    """
    for each in sorted(offered(), key=attrgetter("key")):
        read = each.procedure
        words = read.appliance if read else f"can't be read: {each.why}"
        row = {"procedure": each.key, "title": each.title, "appliance": words, "own": each.is_own}
        row["where"] = list(read.where) if read else []
        mark = f"  [{each.path}]" if each.is_own else ""
        click.echo(json.dumps(row, ensure_ascii=False) if as_json else f"{each.key:<24}{words}{mark}")


@procedure.command()
@click.argument("name")
def new(name: str) -> None:
    """Print the draft of a procedure of your own.

    Example: meterlog procedure new my-kettle > my-kettle.yaml
    """
    try:
        click.echo(draft(NAME.parse(name)), nl=False)
    except ValueError:
        raise WrongValue(f"expected {NAME.expected}, saw {name!r}") from None


@procedure.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object, name to sentence.")
def cautions(as_json: bool) -> None:
    """List the cautions that a procedure can use by name.

    Example: meterlog procedure cautions
    """
    if as_json:
        click.echo(json.dumps(CAUTIONS, ensure_ascii=False, indent=1))
        return
    for name, sentence in CAUTIONS.items():
        click.echo(f"{name:<22}{sentence}")


@procedure.command()
def schema() -> None:
    """Print the JSON Schema that editors complete YAML by.

    Example: meterlog procedure schema > procedure.schema.json
    """
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "A procedure of meterlog"}
    click.echo(json.dumps({**head, **PROCEDURE.json_schema()}, ensure_ascii=False, indent=1))


procedure.add_command(next_check)
