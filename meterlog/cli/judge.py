"""`meterlog judge`: the verdict on one value that was read off a display."""

from __future__ import annotations

import json
import sys
from math import isfinite

import click

from meterlog.base.errors import WrongValue
from meterlog.base.units import QUANTITIES, same_kind, split_measure
from meterlog.cli.options import VALUE_SETTINGS, ValueCommand
from meterlog.judging import Context, Outcome, Verdict
from meterlog.judging import judge as judge_result
from meterlog.judging.accuracy import parse_accuracy
from meterlog.judging.limit import Limit, Rule
from meterlog.judging.measurement import in_circuit, less_null
from meterlog.judging.tables import verdict_lines
from meterlog.judging.written import measured_value
from meterlog.procedure.limits import parse_limit

RULES = {rule.value.replace(" ", "-"): rule for rule in Rule}
PROOF = "overload is believed as an open circuit only when the leads were proved before and after"


@click.command(cls=ValueCommand, context_settings=VALUE_SETTINGS)
@click.argument("value")
@click.option("--limits", help='What passes: "..1.0 ohm", "1 Mohm..", "100 ohm ± 10 %", "open".')
@click.option("--accuracy", help='Of the instrument at that range: "0.5 % + 3 counts".')
@click.option("--resolution", default="", help='One step of the last digit; left out, that of the value: "0.01 ohm".')
@click.option("--range-top", default="", help='Where the range ends, for an overload: "6 Mohm".')
@click.option("--leads", default="", help='The leads pressed together, taken off: "0.12 ohm".')
@click.option(
    "--parallel", is_flag=True, help="Parts in parallel were left connected: the value is a bound of the part."
)
@click.option(
    "--quantity", type=click.Choice(list(QUANTITIES)), help="What was measured; left out, what its unit says."
)
@click.option("--rule", type=click.Choice(list(RULES)), default="guard-band", show_default=True, help="Decision rule.")
@click.option("--guard", type=float, default=1.0, show_default=True, help="Guard band over expanded uncertainty.")
@click.option(
    "--required",
    type=click.FloatRange(0.5, 1.0, max_open=True),
    default=0.95,
    show_default=True,
    help="Probability that its rule asks for.",
)
@click.option("--json", "as_json", is_flag=True, help="The verdict as one JSON object, values in SI.")
def judge(
    value: str,
    limits: str | None,
    accuracy: str | None,
    resolution: str,
    range_top: str,
    leads: str,
    parallel: bool,
    quantity: str | None,
    rule: str,
    guard: float,
    required: float,
    as_json: bool,
) -> None:
    """Judge one value, "> 2.2 Gohm" or "overload" too; exit 1 when it does not pass.

    Example: meterlog judge "0.42 ohm" --limits "..1.0 ohm" --accuracy "0.5 % + 3 counts"
    """
    if not isfinite(guard):
        raise WrongValue(f"a guard band is a plain number, not {guard}")
    kind = quantity or _quantity_of(value, range_top, limits)
    si = QUANTITIES[kind].si
    context = Context(guard=guard, required=required, in_circuit=parallel)
    stated = parse_accuracy(accuracy, like=si) if accuracy else None
    result = measured_value(value, kind, accuracy=stated, resolution=resolution, range_top=range_top, context=context)
    if leads:
        null = measured_value(leads, "resistance", accuracy=stated, resolution=resolution, of="leads")
        result = less_null(result, null)
    if parallel:
        result = in_circuit(result)
    if value.strip().lower() in ("overload", "ol"):
        click.echo(PROOF, err=True)
    tell(judge_result(result, limit_of(limits, si), RULES[rule], context), as_json)


def tell(verdict: Verdict, as_json: bool) -> None:
    """Print a verdict and leave: 1 when it was held against a limit and does not pass."""
    if as_json:
        click.echo(json.dumps({"verdict": verdict.outcome, **verdict.as_dict()}, ensure_ascii=False))
    else:
        click.echo("\n".join(verdict_lines(verdict)))
    passed = verdict.outcome is Outcome.PASS or (verdict.limit is None and verdict.value is not None)
    sys.exit(0 if passed else 1)


def limit_of(text: str | None, si: str) -> Limit | None:
    """The limit of the command line. Raises: WrongValue, also for a part of a plate's entry."""
    if not text:
        return None
    bounds = parse_limit(text, si)
    if bounds.of:
        raise WrongValue(f"{text!r} is a part of {bounds.of!r}: write the limit itself here")
    return Limit(low=bounds.low, high=bounds.high, unit=bounds.unit, text=text, source="", is_open=bounds.is_open)


def _quantity_of(*texts: str | None) -> str:
    """The first quantity whose SI unit is of the kind of the first unit told."""
    for text in texts:
        unit = _unit_in(text or "")
        found = next((name for name, q in QUANTITIES.items() if unit and same_kind(unit, q.si)), "")
        if found:
            return found
    _, unit = split_measure((texts[0] or "").partition("±")[0].strip(" <>"))
    raise WrongValue(f"nothing that is known here is measured in {unit!r}")


def _unit_in(text: str) -> str:
    parts = text.partition("±")[0].replace("at most", "").replace("at least", "").replace("..", " ").strip(" <>")
    try:
        return split_measure(parts)[1]
    except WrongValue:
        return ""
