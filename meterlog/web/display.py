"""Displays in words: every instrument's last reading, the one that the step wants first, and what is true of it now."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.report import wording
from meterlog.walk.answers import wanted_by
from meterlog.walk.settle import OpenLeads

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.daemon.status import DisplayedReading, LinkStatus
    from meterlog.procedure.steps import Step
    from meterlog.walk import Snapshot
    from meterlog.walk.settle import Want

USUAL = ("auto range", "remote")
"""Flags that change nothing in what is read."""
NOTES = {
    "above": "more than this",
    "below": "less than this",
    "overload": "over the range",
    "open sensor": "the sensor is open",
}
AT_POINTS = {
    "lift first": "lift the probes first",
    "apart": "probes apart",
    "contact": "in contact",
    "settling": "settling",
    "captured": "taken",
    "frozen": "HOLD is on: nothing is taken",
}
"""Where probes stand with the step, in words, by the state of the walk."""
AT_REST = {"settling": "settling", "captured": "taken", "frozen": "HOLD is on: nothing is taken"}
"""The same for what lies in no air between two points, such as a thermometer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingWords:
    """A reading with its display in words, for screen and scale; value and edge in SI."""

    channel: str = "main"
    digits: str = "– – –"
    unit: str = ""
    kind: str = "nothing yet"
    quantity: str = ""
    mode: str = ""
    value: float | None = None
    bound: str | None = None
    edge: float | None = None
    note: str = ""
    flags: tuple[str, ...] = ()
    is_stale: bool = False


NOTHING_YET = ReadingWords()


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchDisplay:
    """A display of the bench: what it shows, whose it is, how it stands with the step at hand."""

    reading: ReadingWords
    link: str
    name: str
    link_state: str
    state: str
    with_step: str
    why: str
    hint: str
    is_wrong: bool = False


def reading_words(reading: DisplayedReading) -> ReadingWords:
    """A reading of the control socket in words."""
    bound = reading.bound
    digits = reading.shown if bound in (None, "above", "below") else {"overload": "OVER"}.get(bound, "OPEN")
    return ReadingWords(
        channel=reading.channel,
        digits=digits.replace("-", "−"),
        unit=units.symbol(reading.unit),
        kind=wording.quantity(reading.quantity) + (f" {reading.mode.upper()}" if reading.mode else ""),
        quantity=reading.quantity,
        mode=reading.mode,
        value=reading.value,
        bound=bound,
        edge=reading.edge,
        note=NOTES.get(bound or "", ""),
        flags=tuple(flag for flag in reading.flags if flag not in USUAL),
        is_stale=reading.is_stale,
    )


def displays(links: Sequence[LinkStatus], walk: Snapshot | None, step: Step | None) -> list[BenchDisplay]:
    """Every display of the bench, the one that the step at hand reads first, each with its state in words."""
    want = wanted_by(step) if step else None
    states = {(each.source, each.channel): each.state for each in walk.displays} if walk else {}
    shown = [
        _display(link, reading, want, states)
        for link in links
        for reading in [reading_words(each) for each in link.readings] or [NOTHING_YET]
    ]
    ranked = sorted(shown, key=lambda each: _rank(each, step, want))
    if want and ranked and ranked[0].reading.quantity and not _fits(ranked[0].reading, want):
        ranked[0] = replace(ranked[0], with_step=f"this check wants {wanted_words(want)}", is_wrong=True)
    return ranked


def _display(
    link: LinkStatus, reading: ReadingWords, want: Want | None, states: Mapping[tuple[str, str], str]
) -> BenchDisplay:
    state = states.get((link.link, reading.channel), "")
    return BenchDisplay(
        reading=reading,
        link=link.link,
        name=link.link if reading.channel == "main" else f"{link.link}, {reading.channel}",
        link_state=link.state,
        state=state,
        with_step="no longer read" if reading.is_stale else _with_step(reading, want, state),
        why=link.why,
        hint=link.hint,
    )


def _with_step(reading: ReadingWords, want: Want | None, state: str) -> str:
    """What the step makes of what shows now; "" where it makes nothing of it."""
    if want is None or not reading.quantity or not _fits(reading, want):
        return ""
    return (AT_REST if want.open_leads is OpenLeads.REST else AT_POINTS).get(state, "")


def wanted_words(want: Want) -> str:
    """The function that a step wants: "resistance", "voltage DC"."""
    return wording.quantity(want.quantity) + (f" {want.mode.upper()}" if want.mode else "")


def _fits(reading: ReadingWords, want: Want) -> bool:
    return reading.quantity == want.quantity and (not want.mode or reading.mode in ("", want.mode))


def _rank(display: BenchDisplay, step: Step | None, want: Want | None) -> tuple[bool, ...]:
    """What the step reads comes first: the instrument that it names, its function, what the walk watches."""
    named = bool(step and step.instrument and step.instrument == display.link)
    fits = want is not None and bool(display.reading.quantity) and _fits(display.reading, want)
    return (not named, not fits, not display.state, not display.reading.quantity)
