"""`meterlog heating`: a temperature trace of a heated load to useful power."""

from __future__ import annotations

import json
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

import click

from meterlog.base.errors import CannotDo

if TYPE_CHECKING:
    from meterlog.heating import HeatingResult, Load

MASS = '"1000 g ± 2 g", or less well "1 L"'
MASS_AFTER = '"1000 g ± 2 g, after 990 g ± 2 g"'
EXAMPLE = """\b
Example:
  meterlog heating --trace run.csv --mass "1000 g ± 2 g" --vessel "340 g glass" --rated "900 W"

\b
Keys of --json:
  power_W                  useful power at full output; null when it was refused
  standard_uncertainty_W   u; expanded_uncertainty_W is U = coverage_factor × u, for coverage_probability
  degrees_of_freedom       effective; null: not limited by readings
  clock_mean_W             the same heat over all the time from switching on to switching off
  may_be_more, may_be_less why the power is a bound: a vessel that was not stated, a probe of which nobody said that it
                           was under; is_lower_bound: it may only be more
  method, definition       what the power means, in words;  energy_J: useful heat
  compared                 which power the plate is held against, and why
  repeated_runs_W          each run's power, when several traces were given
  detected                 start_s, stop_s (with standard uncertainties), from (where they come from),
                           full_output_s (time divided by), warm_up_s with its half width and where it comes from,
                           pauses_s and before_s and plateau_s [from, to], first_ and last_temperature_C,
                           probe_lag_s, probe_in_load (throughout), probe_in_load_by (what showed it)
  budget                   source, distribution, contribution_W, share; the largest first
  largest_parts            names of the three largest;  improvements: what U would become
  vessels                  of two heated together, each: before_s, plateau_s, first_ and last_temperature_C, rise_K,
                           heat_J; null for one load
  periods                  each load's before, heating and after, as fitted: from_s, to_s, from_C, to_C, slope_K_per_s
  corrections              applied: what, adds_W, from;  refused: what, why, advice
  other_methods            power_W by each, and what it leaves out
  electrical               energy_J, mean_power_W, on_power_W, efficiency (null without power_W)
  cycling                  on_s, period_s, duty, count
  heat_up                  seconds for this load from 15 to 95 °C at this power, nothing lost
  verdict                  outcome (pass, fail, undecided, not judged), why, limits, rule, trail
  notes                    gaps with their rows, columns left aside, what the number stands on
"""


@click.command(
    epilog=EXAMPLE,
    help="""Useful power of a heating run: its uncertainty, its budget and its verdict against the plate.

    The trace is CSV with units in the names of its columns: t_s,temperature_C and, where they were
    logged, power_W, current_A, voltage_V. An empty cell: no reading (the probe was out).

    Without --start and --stop the times come from the power or current column, else from the rise
    itself, when the probe stood in the load throughout. Log half a minute before and a minute after,
    and stir: the drifts tell what the room gave or took.

    Two vessels heated together have a column and a load each: t_s,temperature_1_C,temperature_2_C and
    --mass twice, with --start and --stop. A thermometer carried from one to the other leaves the
    other's cell empty. What is wrong with thermometer or scale is taken to be wrong in both alike.

    The power is the heat brought into the water, and into the vessel when one is stated, per second
    at full output, with the heat lost to the room put back. Of a microwave oven the generator's warm-up
    is no time at full output: seen in the log, else as --warm-up states, else 2 s ± 1 s. The mean over
    the clock stands beside it. Nothing is told from a probe that may have been in the room's air.
    Exit 1 when the plate is not met, or when the trace tells no power and why.
    """,
)
@click.option(
    "--trace",
    "traces",
    type=click.Path(dir_okay=False),
    required=True,
    multiple=True,
    help="CSV file with units in its header. Given again: repeated runs, pooled with their spread.",
)
@click.option(
    "--mass",
    "masses",
    required=True,
    multiple=True,
    help=f"Water: {MASS}; weighed again afterwards: {MASS_AFTER}. Given again: of the second of two vessels.",
)
@click.option(
    "--vessel",
    "vessels",
    multiple=True,
    help='"340 g glass", "340 g glass + 120 g steel", or measured: "250 J/K ± 20 J/K". Of two loads, each its own.',
)
@click.option("--ambient", help='Room: "21 °C", "21 °C ± 0.5 K".')
@click.option("--start", help='Switched on, on the trace\'s clock: "60 s", "60 s ± 0.5 s", "60".')
@click.option("--stop", help="Switched off.")
@click.option(
    "--warm-up",
    help='Time to full power each time it is switched on: "2 s ± 1 s"; "0 s" of a kettle, urn or hob. A log that shows '
    "it counts before this.",
)
@click.option(
    "--stirred",
    type=click.Choice(["before", "after"]),
    multiple=True,
    help="You stirred with the whole probe under the surface before or after heating. No trace shows how deep it "
    "stood: unless you say it of both, the power is a bound.",
)
@click.option(
    "--method",
    default="enthalpy",
    show_default=True,
    help="enthalpy, ramp, water, quick or iec-60705; of two loads enthalpy, water or two-vessels. The others are shown "
    "beside it.",
)
@click.option(
    "--rated",
    help='The plate: "900 W" of output (± 15 %), "900 W ± 10 %", or "2000 W input" (metered power is compared).',
)
@click.option("--json", "as_json", is_flag=True, help="Everything, as JSON; keys carry their units.")
@click.option("--plot", "picture", type=click.Path(dir_okay=False), help="Draw the (first) run into this SVG file.")
def heating(
    traces: tuple[str, ...],
    masses: tuple[str, ...],
    vessels: tuple[str, ...],
    ambient: str | None,
    start: str | None,
    stop: str | None,
    warm_up: str | None,
    stirred: tuple[str, ...],
    method: str,
    rated: str | None,
    as_json: bool,
    picture: str | None,
) -> None:
    """Read the options, run, print."""
    from meterlog import heating as core
    from meterlog.heating.answer import rating, words
    from meterlog.plots.drawing import draw_alone
    from meterlog.plots.heating_run import plot_of

    if method not in core.METHODS:
        raise click.BadParameter(f"one of {', '.join(core.METHODS)}", param_hint="--method")
    _loads_pair(masses, vessels, core.misfit(method, len(masses)))
    loads = tuple(_load(*each) for each in zip_longest(masses, vessels))
    rated_power, means = rating.read_plate(rated) if rated else (None, "output")
    plate = core.Plate(limit=rating.plate_limit(rated_power, means) if rated_power else None, means=means)
    told: dict[str, Any] = {
        "ambient": core.read_room(ambient) if ambient else None,
        "start": core.read_moment(start) if start else None,
        "stop": core.read_moment(stop) if stop else None,
        "warm_up": core.read_warm_up(warm_up) if warm_up else None,
    }
    told |= {"method": method, "plate": plate, "stirred": stirred}
    answer = core.pooled([core.run(core.read_trace(_text(path), path), loads, **told) for path in traces], plate)
    click.echo(json.dumps(words.as_dict(answer), ensure_ascii=False, indent=2) if as_json else words.as_text(answer))
    _say(answer)
    if picture:
        _write(picture, draw_alone(plot_of(answer)))
    if answer.power is None or (answer.verdict and answer.verdict.outcome == "fail"):
        raise SystemExit(1)


def _loads_pair(masses: tuple[str, ...], vessels: tuple[str, ...], misfit: str) -> None:
    """Refuses loads that do not pair with each other, or with the method."""
    if len(masses) > 2:
        raise click.BadParameter(f"one load, or one in each of two vessels, not {len(masses)}", param_hint="--mass")
    if len(masses) == 2 and len(vessels) == 1:
        hint = "two loads and one vessel: give --vessel twice, alike or not, or leave it out"
        raise click.BadParameter(hint, param_hint="--vessel")
    if len(vessels) > len(masses):
        raise click.BadParameter(
            f"{len(vessels)} vessels and {len(masses)} load{'s'[: len(masses) - 1]}: give --mass for each vessel",
            param_hint="--vessel",
        )
    if misfit:
        raise click.BadParameter(f"{misfit}; give --mass once for each vessel", param_hint="--method")


def _load(mass: str, vessel: str | None) -> Load:
    from meterlog import heating as core

    water, _, again = mass.partition("after")
    return core.Load(
        mass=core.read_mass(water.strip(" ,;")),
        vessel=core.read_vessel(vessel) if vessel else core.NO_VESSEL,
        mass_after=core.read_mass(again.strip()) if again else None,
    )


def _say(answer: HeatingResult) -> None:
    """What was refused, and notes on the trace, to stderr."""
    for note in answer.notes:
        click.echo(f"note: {note}", err=True)
    for part in answer.refused:
        click.echo(f"refused: {part.what}: {part.why}; {part.advice}", err=True)


def _write(path: str, text: str) -> None:
    from pathlib import Path

    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise CannotDo(f"{path} can't be written: {error.strerror}", "name a file in a folder that exists") from None


def _text(path: str) -> str:
    from pathlib import Path

    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise CannotDo(f"{path} is not text in UTF-8", "write the trace as CSV") from None
    except OSError as error:
        raise CannotDo(f"{path} can't be read: {error.strerror}", "check the name of the trace") from None
