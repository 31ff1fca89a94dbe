"""`meterlog evaluate`: a post-processor on values that were read off a display."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from meterlog.base.errors import WrongValue
from meterlog.cli.again import conclude_again
from meterlog.cli.judge import RULES, limit_of, tell
from meterlog.cli.options import db_option, table
from meterlog.judging import judge
from meterlog.judging.method import Method, find_method, hyphened
from meterlog.judging.postprocess import METHODS, AtHand, post_process


@click.command()
@click.argument("method", required=False)
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--limits", help='What passes: "..1.0 ohm"; left out, the band that the method gives, if any.')
@click.option("--rule", type=click.Choice(list(RULES)), help="Decision rule; left out, guard-band, or a job's own.")
@click.option("--job", "ref", metavar="REF", help="Conclude a kept job again instead.")
@click.option("--procedure", default="", metavar="P", help="With --job: under this procedure.")
@click.option("--where", default="", metavar="NAME", help="With --job: under this jurisdiction's limits.")
@click.option("--reason", default="", help="With --job: keep what differs, superseding with this reason.")
@click.option("--json", "as_json", is_flag=True, help="The verdict as one JSON object, values in SI.")
@db_option
def evaluate(
    method: str | None, inputs: tuple[str, ...], limits: str | None, rule: str | None, ref: str | None,
    procedure: str, where: str, reason: str, as_json: bool, db: Path,
) -> None:  # fmt: skip
    """Work out a value from others; without METHOD list them, without inputs tell what METHOD takes.

    A measured input may carry its accuracy, hot="5.71 ohm ± 0.5 % + 3 counts", or be a kept capture,
    JOB/STEP: run="J1/earth, J2/earth, J3/earth".

    With --job, list what a kept job comes to now where that differs; with --reason too, keep the new
    verdicts beside the old. Exit 1 when one differs.

    Example: meterlog evaluate winding-rise hot="5.71 ohm" cold="4.62 ohm" start="21 degC" ambient="24.5 degC"
    """
    if ref is not None:
        changes = {"procedure": procedure, "where": where, "rule": rule or ""}
        rows = conclude_again(db, ref, changes, reason)
        table(rows, ("step", "before", "now", "why"), as_json)
        if not rows:
            click.echo(f"nothing differs: every verdict of {ref} comes to the same again", err=True)
        sys.exit(1 if rows else 0)
    if method is None:
        for known in METHODS.values():
            click.echo(f"{hyphened(known.name):28}{known.title}")
        return
    found = find_method(method, METHODS)
    if not inputs:
        click.echo("\n".join(_takes(found)))
        sys.exit(2)
    given = dict(_pair(text) for text in inputs)
    result = post_process(found.name, given, _at_hand(given, db))
    tell(judge(result, limit_of(limits, result.unit) or result.limit, RULES[rule or "guard-band"]), as_json)


def _at_hand(given: dict[str, str], db: Path) -> AtHand:
    """The kept captures that inputs name; nothing where they name none."""
    from meterlog.record.athand import at_hand_of, names_in

    names = names_in(given.values())
    if not names:
        return AtHand()
    from meterlog.store.reader import reading

    with reading(db) as reader:
        return at_hand_of(reader, names)


def _pair(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign:
        raise WrongValue(f'write an input as name=value, such as hot="5.71 ohm", not {text!r}')
    return name, value


def _takes(method: Method) -> list[str]:
    lines = [method.title]
    for name, wanted in method.inputs.items():
        told = "" if wanted.default is None else f"; left out: {wanted.default or 'without'}"
        words = f", one of {', '.join(wanted.words)}" if wanted.words else ""
        lines.append(f"  {hyphened(name):16}{wanted.kind}: {wanted.doc}{words}{told}")
    return lines
