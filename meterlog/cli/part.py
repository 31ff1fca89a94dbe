"""`meterlog part`: what a marking says, which values are preferred, what may stand in for what."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.base.units import show
from meterlog.parts.bands import decode_bands
from meterlog.parts.capacitor import decode_capacitor
from meterlog.parts.preferred import MARK, SERIES, SOURCE, neighbours, series_of
from meterlog.parts.replacing import fit, wanted
from meterlog.parts.resistor import decode_resistor
from meterlog.procedure.cautions import CAUTIONS
from meterlog.procedure.entries import read_quantity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.parts.part import Part

_CAPACITOR_CAUTIONS = ("charge", "discharge", "no-ohms-on-charge", "old-capacitor-oil", "old-capacitor-date")
_RESISTOR_CAUTIONS = ("isolate", "charge", "parallel-paths")


@click.group()
def part() -> None:
    """Read the marking of a part, and find what may stand in for it.

    Example: meterlog part capacitor --marking "104K 275V~ X2"
    """


@part.command()
@click.option("--marking", required=True, help='As printed, such as "104K 275V~ X2".')
@click.option("--instead", help="The marking of a part that may replace it.")
@click.option("--measured", help='Its capacitance, such as "98 nF".')
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def capacitor(marking: str, instead: str | None, measured: str | None, as_json: bool) -> None:
    """Read a capacitor's marking; exit 1 when --instead does not fit or --measured is outside.

    Example: meterlog part capacitor --marking "474K 275V~ X2" --instead "0.47 µF ± 10 % 310V~ X1"
    """
    new = decode_capacitor(instead)[0] if instead else None
    _answer(decode_capacitor(marking), new, _value(measured, "capacitance"), _CAPACITOR_CAUTIONS, as_json)


@part.command()
@click.option("--marking", help='As printed, such as "4K7J", "4702" or "66B".')
@click.option("--bands", help='Colours in order, such as "yellow violet red gold".')
@click.option("--instead", help="The marking of a part that may replace it.")
@click.option("--measured", help='Its resistance, such as "4.68 kohm": decides between two readings.')
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def resistor(marking: str | None, bands: str | None, instead: str | None, measured: str | None, as_json: bool) -> None:
    """Read a resistor's colour bands or marking; exit 1 when --instead does not fit or --measured is outside.

    Example: meterlog part resistor --bands "brown black black brown brown" --measured "1.01 kohm"
    """
    if (marking is None) == (bands is None):
        raise click.UsageError('give --marking "4K7J" or --bands "yellow violet red gold"')
    parts = decode_bands(bands) if bands is not None else decode_resistor(str(marking))
    new = decode_resistor(instead)[0] if instead else None
    _answer(parts, new, _value(measured, "resistance"), _RESISTOR_CAUTIONS, as_json)


@part.command()
@click.argument("value", required=False)
@click.option("--series", type=click.Choice(list(SERIES)), help="Only this series.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a series.")
def preferred(value: str | None, series: str | None, as_json: bool) -> None:
    """Find the preferred values around VALUE, or list those of a series.

    Example: meterlog part preferred "4.9 kohm"
    """
    if value is None and series is None:
        raise click.UsageError('give a value such as "4.9 kohm", or --series E12')
    if value is None:
        _list_series(str(series), as_json)
        return
    unit = "farad" if units.same_kind(units.split_measure(value)[1], "farad") else "ohm"
    wanted_value = units.parse(value, unit)
    if not wanted_value > 0:
        raise WrongValue(f"a part's value is above zero, not {value}")
    for name in [series] if series else list(SERIES):
        near = neighbours(wanted_value, name)
        if as_json:
            click.echo(json.dumps({**asdict(near), "unit": unit, "source": SOURCE, "mark": MARK}))
            continue
        click.echo(
            f"{name:<6}{show(near.below, unit):>10} .. {show(near.above, unit):<10}"
            f" nearest {show(near.nearest, unit):<10} {100 * near.deviation:+.2f} %"
        )


def _list_series(series: str, as_json: bool) -> None:
    values = [value / 100 for value in SERIES[series]]
    if as_json:
        click.echo(json.dumps({"series": series, "values": values, "source": SOURCE, "mark": MARK}))
        return
    for start in range(0, len(values), 12):
        click.echo(" ".join(f"{value:.2f}" for value in values[start : start + 12]))


def _value(text: str | None, kind: str) -> float | None:
    """A measured value, SI. Raises: WrongValue, also for a slip of a prefix, with the question."""
    return None if text is None else read_quantity(kind, text).value


def _answer(
    parts: tuple[Part, ...], new: Part | None, measured: float | None, cautions: tuple[str, ...], as_json: bool
) -> None:
    parts = tuple(sorted(parts, key=lambda part: measured is not None and not part.holds(measured)))
    old = parts[0]
    verdict = fit(old, new) if new else None
    if as_json:
        click.echo(json.dumps(_as_json(parts, new, measured, cautions), ensure_ascii=False))
    else:
        for caution in cautions:
            click.echo(CAUTIONS[caution], err=True)
        for line in _lines(parts, new, measured):
            click.echo(line)
    is_outside = measured is not None and not old.holds(measured)
    sys.exit(1 if is_outside or (verdict and not verdict.fits) else 0)


def _as_json(
    parts: tuple[Part, ...], new: Part | None, measured: float | None, cautions: tuple[str, ...]
) -> dict[str, Any]:
    readings = []
    for one in parts:
        held = None if measured is None else one.holds(measured)
        readings.append({**one.as_dict(), "series": _series(one), "measured_in_band": held})
    answer: dict[str, Any] = {"readings": readings, "replacement": asdict(wanted(parts[0]))}
    if new:
        answer["instead"] = {**new.as_dict(), **asdict(fit(parts[0], new))}
    return answer | {"cautions": [CAUTIONS[name] for name in cautions]}


def _series(one: Part) -> tuple[str, ...]:
    return series_of(one.value) if one.value > 0 else ()


def _lines(parts: tuple[Part, ...], new: Part | None, measured: float | None) -> Iterator[str]:
    for number, one in enumerate(parts, 1):
        yield f"reading {number} of {len(parts)}" if len(parts) > 1 else "reading"
        yield from _part_lines(one)
        if measured is not None:
            where = "in" if one.holds(measured) else "outside"
            yield f"  measured    {show(measured, one.unit)}, {where} the band by plain comparison"
    yield "a replacement needs"
    need = wanted(parts[0])
    yield from (f"  {rule}" for rule in need.rules)
    if need.preferred:
        yield f"  {need.series} values in the band: " + ", ".join(
            show(value, parts[0].unit) for value in need.preferred
        )
    if new:
        found = fit(parts[0], new)
        yield "instead"
        yield from _part_lines(new)
        yield "  fits" if found.fits else "  does not fit"
        yield from (f"  because     {why}" for why in found.against)
        yield from (f"  look at     {what}" for what in found.look_at)


def _part_lines(one: Part) -> Iterator[str]:
    yield f"  value       {show(one.value, one.unit)}"
    if one.tolerance and one.band:
        low, high = (show(end, one.unit) for end in one.band)
        yield f"  tolerance   {one.tolerance.text}: {low} to {high} ({one.tolerance.source}; {one.tolerance.mark})"
    if one.power is not None:
        yield f"  power       {one.power:g} W"
    if one.voltage is not None:
        yield f"  voltage     {one.voltage:g} V {one.mode.upper()}".rstrip()
    if one.classes or one.run:
        yield f"  class       {' '.join((*one.classes, *one.run))}"
    if one.coefficient is not None:
        yield f"  coefficient {one.coefficient * 1e6:g} ppm/K"
    yield f"  series      {', '.join(_series(one)) or 'no preferred value'}"
    yield f"  code        {one.code} ({one.source}; {one.mark})"
    yield from (f"  note        {note}" for note in one.notes)
    if one.unread:
        yield f"  not read    {' '.join(one.unread)}"
