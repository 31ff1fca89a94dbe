"""How moments, measures and outcomes are written on pages and paper."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from meterlog.base import units
from meterlog.base.readings import TYPED
from meterlog.judging.limit import MARKS
from meterlog.record.kept import CaptureRecord

if TYPE_CHECKING:
    from collections.abc import Callable

    from _typeshed import DataclassInstance

    from meterlog.base.readings import Reading
    from meterlog.judging import Verdict
    from meterlog.record.kept import ReadingRecord
    from meterlog.walk.snapshot import StepSnapshot

OUTCOMES: dict[str, tuple[str, str]] = {
    "pass": ("✔", "inside the limit, with the meter's uncertainty counted"),
    "fail": ("✘", "outside the limit, with the meter's uncertainty counted"),
    "undecided": ("?", "too close to the limit for this meter"),
    "not judged": ("–", "recorded, held against no limit"),
}
"""Each outcome's mark beside its word, and what it means: never colour alone."""

BOUNDS = {
    "above": "more than",
    "below": "less than",
    "overload": "over range",
    "open sensor": "open sensor",
}
"""A reading that is an edge, in words before its digits."""

MARK = " (typed)"
"""What stands behind a reading that no instrument sent."""

HOW = {
    "settled": "settled by itself",
    "settled, contact said": "settled; that the tips were on the points was said then",
    "open proved, contact said": "open; leads proved before and after; that the tips were on the points was said then",
    "dead proved, contact said": "dead; tester proved before and after; that the tips were on the points was said then",
    "dead proved, contact seen": "dead; tester proved before and after; volts stood that leads in the air never keep",
    "open proved": "open; leads proved before and after; nobody said that the tips were on the points",
    "dead proved": "dead; tester proved before and after; nobody said that the tips were on the points",
    "bound held": "a bound that held",
    "bound held, contact said": "a bound that held; that the tips were on the points was said then",
    "at time, contact said": "the bound at the stated time; that the tips were on the points was said then",
    "one minute": "the reading at one minute",
    "at time": "the reading at the stated time",
    "heating run": "every reading of a heating run",
    TYPED: "typed by hand, as the instrument showed it",
    "timed": "the time between a start and a stop",
    "switch": "taken by hand or pedal",
}
"""The rule that chose a capture, by its name in the record."""


def when(utc_ms: int | None) -> Markup:
    """A moment in this machine's time zone, with UTC for machines."""
    if utc_ms is None:
        return Markup("")
    stamp = datetime.fromtimestamp(utc_ms / 1000, UTC)
    local = stamp.astimezone()
    return Markup('<time datetime="{}">{}</time>').format(
        stamp.isoformat(timespec="milliseconds"), f"{local.day} {local:%b %Y %H:%M}"
    )


def day(utc_ms: int) -> str:
    """A day in this machine's time zone: "25 November 2026"."""
    local = datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone()
    return f"{local.day} {local:%B %Y}"


def seconds(length: float) -> str:
    """A stretch of time, from s: "1.25 s"."""
    return f"{length:.2f} s"


def chosen(how: str) -> str:
    """The rule that chose a capture, in words."""
    return HOW.get(how, how)


def mark(name: str) -> str:
    """How a limit's source was seen, in words."""
    return MARKS.get(name, name)


def display(kept: CaptureRecord | ReadingRecord) -> str:
    """What an instrument showed, with its unit: "0.420 Ω", "over 40 MΩ", "more than 2.20 GΩ", "0.09 Ω (typed)".

    Of a heating run how many readings it is: none of them is what was found.
    """
    if isinstance(kept, CaptureRecord) and kept.capture.is_run:
        return f"{kept.capture.count} readings"
    return _edge(kept.reading) + typed_mark(kept)


def typed_mark(kept: CaptureRecord | ReadingRecord) -> str:
    """What marks a capture that no instrument sent; "" for any other."""
    return MARK if isinstance(kept, CaptureRecord) and kept.capture.typed else ""


def _edge(reading: Reading) -> str:
    form = reading.form
    unit = units.symbol(form.unit)
    if form.bound == "overload" and form.range_top:
        return f"over {units.show(form.range_top, units.QUANTITIES[form.quantity].si)}"
    if form.bound in ("overload", "open sensor"):
        return BOUNDS[form.bound]
    before = f"{BOUNDS[form.bound]} " if form.bound else ""
    return f"{before}{reading.digits} {unit}".strip()


def shown(step: StepSnapshot) -> str:
    """What the counting capture of a walk's step showed: "0.42 Ω", "more than 2.20 GΩ", "over range"."""
    if step.bound in ("overload", "open sensor"):
        return BOUNDS[step.bound]
    before = f"{BOUNDS[step.bound]} " if step.bound else ""
    return f"{before}{step.shown or ''} {units.symbol(step.unit or '')}".strip() + (MARK if step.typed else "")


def measure(value: float | None, si: str, digits: int = 4) -> str:
    """An SI value for a person; a dash where there is none."""
    return "—" if value is None else units.show(value, si, digits)


def amount(value: float | None, si: str, digits: int = 3) -> str:
    """A spread or an uncertainty: as a measure, but a difference of temperatures stays one."""
    return measure(value, "delta_degC" if si == "kelvin" else si, digits)


def plain_value(value: float, expanded: float, si: str, unit: str = "") -> str:
    """A value without its uncertainty, in its limit's unit; one within its doubt of nothing by what it is at most."""
    is_nothing = abs(value) < expanded
    return (
        f"less than {units.show_in(abs(value) + expanded, si, unit, 2)}"
        if is_nothing
        else units.show_in(value, si, unit, 3)
    )


def result(verdict: Verdict) -> str:
    """What a verdict found, with its uncertainty: "878 W ± 15 W"; "" when it is no number."""
    if verdict.value is None:
        return ""
    return units.show_with(verdict.value, verdict.expanded_uncertainty or 0.0, verdict.unit)


def quantity(name: str) -> str:
    """A quantity's words."""
    known = units.QUANTITIES.get(name)
    return known.title if known else name


def entry(name: str) -> str:
    """The name of an entry of the rating plate or of a personal field: "rated_power" is "rated power"."""
    return name.replace("_", " ").replace("-", " ")


def hex_bytes(data: bytes) -> str:
    """Bytes as pairs: "55 AA 01"."""
    return data.hex(" ").upper()


def percent(part: float | None) -> str:
    """A part of one: "97.7 %"; never all, never nothing."""
    if part is None:
        return "—"
    if not 0.0005 <= part < 0.9995:
        return "over 99.9 %" if part > 0.5 else "under 0.1 %"
    return f"{part * 100:.3g} %"


def stamp(outcome: str | None) -> Markup:
    """An outcome as a stamp: its mark, its word, and a frame of its own shape."""
    if outcome is None:
        return Markup('<span class="stamp stamp-open">open</span>')
    mark, meaning = OUTCOMES[outcome]
    kind = outcome.replace(" ", "-")
    return Markup('<span class="stamp stamp-{}" title="{}"><span aria-hidden="true">{}</span> {}</span>').format(
        kind, meaning, mark, outcome
    )


def lines(text: str) -> Markup:
    """Text with its line ends kept, escaped."""
    return Markup("<br>").join(escape(line) for line in text.splitlines())


def decimals(value: float, count: int) -> str:
    """A bare number with so many decimals, for a column whose head has the unit: "−0.12"."""
    return f"{round(value, count) + 0.0:.{count}f}".replace("-", "−")


_WRITERS = (
    when, day, seconds, chosen, mark, display, measure, amount, quantity, entry, shown, hex_bytes, percent, stamp,
    lines, decimals,
)  # fmt: skip
FILTERS: dict[str, Callable[..., Any]] = {written.__name__: written for written in _WRITERS} | {
    "symbol": units.symbol,
    "with_symbols": units.with_symbols,
}
"""What templates may call."""


def fields_of(record: DataclassInstance) -> dict[str, Any]:
    """A record's fields by name, as a template is given them."""
    return {field.name: getattr(record, field.name) for field in fields(record)}
