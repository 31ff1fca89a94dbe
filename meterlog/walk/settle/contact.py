"""What a reading says about the probes: apart, on something, frozen, on another function.

What open leads read differs by quantity, and an open circuit reads as leads in the air do:

    ohms, junction volts     an overload                     contact is a number
    capacitance              a small stray                   contact is above that, or an overload
    volts, amperes, watts    a wandering near-zero           contact is away from zero
    insulation               no value: no test is running    contact is a value or a bound
    temperature and others   what stood there before         contact is a departure from it
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from meterlog.base.readings import Bound, Form, Reading, is_frozen
from meterlog.walk.settle.window import Pace, Sample

if TYPE_CHECKING:
    from meterlog.procedure.steps import Step

LIFT_S = 0.5
"""Leads that read apart for a shorter time have bounced, not been lifted."""
IDLE_PERIODS = 1.5
"""An instrument that says it has no value, for so long since its last, has ended its test."""
STRAY_COUNTS = {"capacitance": 20, "voltage": 20, "current": 10, "leakage_current": 5}
STRAY_COUNTS_ELSE = 20
"""Open leads read up to so many steps of the finest range seen."""
STRAY_VOLTS = {"ac": 2.0, "": 2.0, "ac+dc": 2.0, "dc": 0.1}
"""Open leads pick up volts from the air, more of alternating ones. Common practice, no source."""
STRAY_FARADS = 1e-10
"""Leads and hands beside each other, as read by meters that resolve a picofarad. Common practice, no source."""
STRAY_PART = 0.05
"""Of the smallest voltage or capacitance a step expects: what lies below is taken for the air."""
STRAY_HALF = 0.5
DEPARTURE = {"temperature": 1.0}
DEPARTURE_COUNTS = 20
"""How far a value departs from where it stood, SI, else in counts, before it is another thing."""


class Sort(StrEnum):
    """What one reading says about the probes."""

    APART = "apart"
    NUMBER = "number"
    BOUND = "bound"
    BLANK = "blank"  # the display shows nothing for a moment
    FROZEN = "frozen"  # HOLD: a frozen number passes every test of steadiness
    OTHER = "other"  # another function than the one that is wanted


class OpenLeads(StrEnum):
    """What the leads read in the air."""

    OVERLOAD = "overload"
    STRAY = "stray"
    IDLE = "idle"
    REST = "rest"


OPEN_LEADS = {
    "resistance": OpenLeads.OVERLOAD,
    "continuity": OpenLeads.OVERLOAD,
    "junction_voltage": OpenLeads.OVERLOAD,
    "inductance": OpenLeads.OVERLOAD,
    "capacitance": OpenLeads.STRAY,
    "voltage": OpenLeads.STRAY,
    "current": OpenLeads.STRAY,
    "leakage_current": OpenLeads.STRAY,
    "power": OpenLeads.STRAY,
    "apparent_power": OpenLeads.STRAY,
    "reactive_power": OpenLeads.STRAY,
    "insulation_resistance": OpenLeads.IDLE,
}
"""By quantity; all others rest where they stood."""


class DisplayStream:
    """What is remembered of one display of one link, whatever the step: pace, last reading, resting values.

    `since` is when listening began: a link that speaks only while it measures is silent before.
    """

    def __init__(self, source: str, channel: str = "main", since: float | None = None) -> None:
        self.source, self.channel = source, channel
        self.pace = Pace(since)
        self.last: Sample | None = None
        self.after_silence = False
        self.is_cut, self.was_cut = False, False
        self.is_idle = False
        self.finest: dict[str, float] = {}
        self.resting: dict[str, float] = {}
        self.plateau: dict[str, float] = {}

    def hear(self, sample: Sample) -> None:
        """Take the next reading, before anyone sorts it."""
        self.after_silence = self.pace.take(sample.at)
        self.was_cut, self.is_cut = self.is_cut, False
        before, form = self.last, sample.reading.form
        self.last, self.is_idle = sample, False
        if (
            form.bound is None
            and sample.reading.counts is not None
            and (before is None or form is not before.reading.form)
        ):
            self.finest[form.quantity] = min(form.resolution, self.finest.get(form.quantity, float("inf")))

    def cut(self) -> None:
        """The link was lost: nothing shows, and whatever comes next may come from another instrument."""
        self.pace.cut()
        self.is_cut = True

    def idle_from(self, *, told: bool) -> float | None:
        """When it is certain that no value comes any more, s; `told`: the instrument says that it has none."""
        if self.last is None or self.is_idle:
            return None
        return self.last.at + (IDLE_PERIODS * self.pace.period if told else self.pace.longest_gap)

    def rest(self, at: float) -> Sample:
        """The display shows no value, as a reading that says so."""
        assert self.last is not None
        self.is_idle = True
        return Sample(self.last.ordinal, at, Reading(replace(self.last.reading.form, bound=None, flags=()), None))


@dataclass(frozen=True, slots=True, kw_only=True)
class Want:
    """The quantity that a step looks for, and the smallest it expects (SI, 0 where that is not known)."""

    quantity: str
    mode: str = ""
    least: float = 0.0

    @property
    def open_leads(self) -> OpenLeads:
        return OPEN_LEADS.get(self.quantity, OpenLeads.REST)

    def matches(self, form: Form) -> bool:
        """Whether a display shows the wanted function. A mode that either leaves open fits any."""
        modes_fit = not self.mode or not form.mode or form.mode == self.mode
        return form.quantity == self.quantity and modes_fit

    def has_left(self, reading: Reading, stream: DisplayStream) -> bool:
        """Whether a probe that rests in no air stands away from what it was captured on."""
        stood = stream.plateau.get(self.quantity) if self.open_leads is OpenLeads.REST else None
        if stood is None or reading.value is None or not self.matches(reading.form):
            return False
        return abs(reading.value - stood) > departure(self.quantity, reading.form.resolution)

    def sort(self, reading: Reading, stream: DisplayStream) -> Sort:
        """What a reading says about the probes."""
        form = reading.form
        if not self.matches(form):
            return Sort.APART if self.open_leads is OpenLeads.IDLE else Sort.OTHER
        if form.flags and is_frozen(form.flags):
            return Sort.FROZEN
        return _SORTERS[self.open_leads](self, reading, stream)


def want_of(step: Step) -> Want:
    """What a step looks for; the smallest it expects is the smallest edge of its limits."""
    edges = [abs(edge) for limit in step.limits for edge in (limit.low, limit.high) if edge and not limit.of]
    return Want(quantity=step.quantity, mode=step.mode, least=min(edges, default=0.0))


def departure(quantity: str, resolution: float) -> float:
    """How far a resting value must move before something else is measured, SI."""
    return DEPARTURE.get(quantity, DEPARTURE_COUNTS * resolution)


def _by_overload(want: Want, reading: Reading, stream: DisplayStream) -> Sort:
    if reading.form.bound is Bound.BELOW:
        return Sort.BOUND
    if reading.form.bound:
        return Sort.APART
    return Sort.BLANK if reading.counts is None else Sort.NUMBER


def _by_stray(want: Want, reading: Reading, stream: DisplayStream) -> Sort:
    if reading.form.bound:
        return Sort.BOUND
    if reading.value is None:
        return Sort.BLANK
    counts = STRAY_COUNTS.get(want.quantity, STRAY_COUNTS_ELSE)
    stray = counts * stream.finest.get(want.quantity, reading.form.resolution)
    if want.quantity == "voltage":
        stray = max(stray, _stray_volts(want.least, STRAY_VOLTS[reading.form.mode]))
    elif want.quantity == "capacitance":
        stray = max(stray, STRAY_PART * want.least or STRAY_FARADS)
    return Sort.APART if abs(reading.value) <= stray * (1 + 1e-9) else Sort.NUMBER


def _stray_volts(least: float, pick_up: float) -> float:
    """What leads in the air may read, V: a part of what a step expects, and no less than they pick up there.

    A step that expects less than twice the pick-up takes half of what it expects for the air: below
    that, only a press can tell its points from the air.
    """
    return max(STRAY_PART * least, min(pick_up, STRAY_HALF * least)) if least else pick_up


def _by_idle(want: Want, reading: Reading, stream: DisplayStream) -> Sort:
    if reading.form.bound:
        return Sort.APART if reading.form.bound is Bound.OPEN_SENSOR else Sort.BOUND
    return Sort.APART if reading.counts is None else Sort.NUMBER


def _by_rest(want: Want, reading: Reading, stream: DisplayStream) -> Sort:
    if reading.form.bound:
        return Sort.BOUND if reading.form.bound is not Bound.OPEN_SENSOR else Sort.APART
    if reading.value is None:
        return Sort.BLANK
    near = departure(want.quantity, reading.form.resolution)
    stood = [seen[want.quantity] for seen in (stream.resting, stream.plateau) if want.quantity in seen]
    if not stood:
        stream.resting[want.quantity] = reading.value
        return Sort.APART
    return Sort.APART if any(abs(reading.value - value) <= near for value in stood) else Sort.NUMBER


_SORTERS = {
    OpenLeads.OVERLOAD: _by_overload,
    OpenLeads.STRAY: _by_stray,
    OpenLeads.IDLE: _by_idle,
    OpenLeads.REST: _by_rest,
}


class Lift:
    """Tells when the leads have been apart long enough to have been lifted, since they last read otherwise."""

    def __init__(self, last_contact: float | None = None) -> None:
        self._last_contact = last_contact
        self._others = 0

    def take(self, sort: Sort, at: float) -> bool:
        """Whether the leads are lifted, after a reading of that sort."""
        self._others = self._others + 1 if sort is Sort.OTHER else 0
        if sort is Sort.APART:
            return self._last_contact is None or at - self._last_contact >= LIFT_S
        self._last_contact = at
        return False

    @property
    def function_changed(self) -> bool:
        """Whether another function has been shown for two readings: a dial between two is passed over."""
        return self._others >= 2
