"""`meterlog evaluate`: a post-processor on values that were read off a display."""

from __future__ import annotations

import sys

import click

from meterlog.cli.judge import RULES, limit_of, tell
from meterlog.errors import WrongValue
from meterlog.evaluate import judge
from meterlog.evaluate.methods import Method, find_method
from meterlog.evaluate.postprocess import METHODS, AtHand, post_process


@click.command()
@click.argument("method", required=False)
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--limits", help='What passes: "..1.0 ohm"; left out, the band that the method gives, if any.')
@click.option("--rule", type=click.Choice(list(RULES)), default="guard-band", show_default=True, help="Decision rule.")
@click.option("--json", "as_json", is_flag=True, help="The verdict as one JSON object, values in SI.")
def evaluate(method: str | None, inputs: tuple[str, ...], limits: str | None, rule: str, as_json: bool) -> None:
    """Work out a value from others; without METHOD list them, without inputs tell what METHOD takes.

    A measured input may carry its accuracy: hot="5.71 ohm ± 0.5 % + 3 counts".

    Example: meterlog evaluate winding-rise hot="5.71 ohm" cold="4.62 ohm" start="21 degC" ambient="24.5 degC"
    """
    if method is None:
        for known in METHODS.values():
            click.echo(f"{hyphened(known.name):28}{known.title}")
        return
    found = find_method(method, METHODS)
    if not inputs:
        click.echo("\n".join(_takes(found)))
        sys.exit(2)
    result = post_process(found.name, dict(_pair(text) for text in inputs), AtHand())
    tell(judge(result, limit_of(limits, result.unit) or result.limit, RULES[rule]), as_json)


def hyphened(name: str) -> str:
    """A name as it is typed: "winding-rise"."""
    return name.replace(" ", "-")


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
