"""A heating run as a step of a procedure: its log, the entries it needs, its verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.errors import MeterlogError
from meterlog.heating.answer.judged import Plate
from meterlog.heating.answer.rating import plate_limit
from meterlog.heating.balance.load import Load
from meterlog.heating.balance.vessel import NO_VESSEL, read_vessel
from meterlog.heating.run import run
from meterlog.heating.stated import (
    StatedValue,
    checked_mass,
    checked_room,
    read_mass,
    read_room,
    read_stated,
    read_warm_up,
)
from meterlog.heating.trace.columns import HeatingTrace, LoggedQuantity
from meterlog.heating.trace.immersion import AFTER, BEFORE
from meterlog.judging import Outcome, Verdict
from meterlog.judging.method import plain_name

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from meterlog.base.readings import Reading, Timing
    from meterlog.heating.answer.result import HeatingResult
    from meterlog.judging.limit import Limit, Rule
    from meterlog.procedure.steps import Step

    Timed = tuple[float, Reading]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRun:
    """What a heating step is concluded from.

    Attributes:
        log: (time in s, reading) of the thermometer's whole run, on `channel`.
        beside: of a power meter or the like meanwhile, on the same clock.
        entries: from the plate and the person, as typed; `numbers` the same, ends in SI.
        measured: what other steps measured (a weighed mass), SI, by step key.
        limit: the step's, as written; rule: the decision rule.
    """

    step: Step
    log: tuple[tuple[float, Reading], ...]
    beside: tuple[tuple[float, Reading], ...]
    channel: str
    timing: Timing | None
    entries: Mapping[str, str]
    numbers: Mapping[str, tuple[float, float]]
    measured: Mapping[str, StatedValue]
    limit: Limit | None
    rule: Rule


def heated(of: StepRun) -> Verdict:
    """The verdict on a heating step; not judged, and why, when an entry is missing or the run is refused."""
    try:
        result = run_of(of)
    except MeterlogError as error:
        return Verdict(outcome=Outcome.NOT_JUDGED, why=str(error).splitlines()[0], quantity="power", unit="watt")
    if result.verdict is not None:
        return result.verdict
    why = "; ".join(refused.why for refused in result.refused) or "no limit was given to hold the power against"
    return Verdict(outcome=Outcome.NOT_JUDGED, why=why, quantity="power", unit="watt", value=result.power)


def run_of(of: StepRun) -> HeatingResult:
    """The heating run of a step. Raises: WrongValue when an entry cannot be read, MeterlogError when it is missing."""
    inputs, timing, limit = _Inputs(of), of.timing, of.limit
    loads = [_load(inputs, "mass", "vessel", "the water")]
    if inputs.names(SECOND_MASS):
        loads.append(_load(inputs, SECOND_MASS, "second vessel", "the water in the second vessel"))
    known = limit.against(of.numbers) if limit and (not limit.of or limit.of in of.numbers) else None
    if known is None and (rated := inputs.value("rated", lambda text: read_stated(text, "watt"))):
        known = plate_limit(rated)
    return run(
        trace_of(_temperatures(of, len(loads)), of.beside),
        tuple(loads),
        ambient=inputs.value("ambient", read_room, checked_room),
        start=_edge(timing.started, timing.start_uncertainty_s) if timing else None,
        stop=_edge(timing.stopped, timing.stop_uncertainty_s) if timing else None,
        warm_up=inputs.value("warm up", read_warm_up),
        method=of.step.method or "enthalpy",
        plate=Plate(limit=known, rule=of.rule),
        stirred={*inputs.text("stirred").replace(",", " ").split(), *_said(timing)},
    )


SECOND_MASS = "second mass"


CARRIED = ("first", "second")
"""The vessels that one probe is carried between."""


def is_carried(step: Step) -> bool:
    """Whether one probe is carried between two vessels, as far as the step says: it names no channel for each."""
    named = {plain_name(name) for name in step.inputs}
    return SECOND_MASS in named and "channels" not in named


def _said(timing: Timing | None) -> set[str]:
    """The sides of heating on which somebody said that the whole probe was under."""
    if timing is None:
        return set()
    return {BEFORE for _, at in timing.immersed if at <= timing.started} | {
        AFTER for _, at in timing.immersed if at >= timing.stopped
    }


class _Inputs:
    """What a step's `with` names: texts of plate and person, and what other steps measured."""

    def __init__(self, of: StepRun) -> None:
        self._named = {plain_name(name): entry for name, entry in of.step.inputs.items()}
        self._of = of

    def names(self, name: str) -> bool:
        return name in self._named

    def text(self, name: str) -> str:
        """As typed, "" when it was not; a number in the procedure itself stands for itself."""
        entry = self._named.get(name, "")
        return self._of.entries.get(entry, entry if entry[:1].isdigit() else "")

    def value(
        self,
        name: str,
        read: Callable[[str], StatedValue],
        check: Callable[[StatedValue], StatedValue] = lambda measured: measured,
    ) -> StatedValue | None:
        """Measured by another step or typed; None when it is neither. Raises: WrongValue."""
        if measured := self._of.measured.get(self._named.get(name, "")):
            return check(measured)
        text = self.text(name)
        return read(text) if text else None


def _load(inputs: _Inputs, mass: str, vessel: str, of: str) -> Load:
    """Water and vessel as told under these names. Raises: MeterlogError when the mass is missing."""
    weighed = inputs.value(mass, read_mass, checked_mass)
    if weighed is None:
        raise MeterlogError(f"the mass of {of} was neither weighed nor entered")
    text = inputs.text(vessel)
    return Load(mass=weighed, vessel=read_vessel(text) if text else NO_VESSEL)


def _channels(of: StepRun) -> tuple[str, str]:
    """The channels of the two vessels: as the step names them, else the two that read temperatures, in order.

    Raises: MeterlogError when it is not clear which two.
    """
    reading = sorted({r.form.channel for _, r in of.log if r.form.quantity == "temperature" and r.value is not None})
    named = [name.strip() for name in of.step.inputs.get("channels", "").split(",") if name.strip()]
    wanted = named or reading
    if len(wanted) != 2 or not set(wanted) <= set(reading):
        seen = ", ".join(reading)
        raise MeterlogError(f"two vessels need two channels of the thermometer, and these read: {seen}")
    return wanted[0], wanted[1]


MAINS_SIDE = ("power", "current", "voltage")
"""Quantities of the mains side that a run's trace may hold."""


def trace_of(temperatures: Sequence[Iterable[Timed]], beside: Iterable[Timed] = ()) -> HeatingTrace:
    """The trace of a run: the readings in one vessel, or two, and the mains side where it was read meanwhile."""
    mains = list(beside)
    power, current, voltage = (_series(mains, quantity) for quantity in MAINS_SIDE)
    first, *second = (_series(readings, "temperature") for readings in temperatures)
    return HeatingTrace(
        temperature=first,
        second=second[0] if second else None,
        power=power if power.times else None,
        current=current if current.times else None,
        voltage=voltage if voltage.times else None,
    )


def _temperatures(of: StepRun, loads: int) -> list[list[Timed]]:
    """The readings of each load: of one channel, of two, or of one probe that was carried from vessel to vessel."""
    if loads == 1:
        return [_on(of.channel, of.log)]
    timing = of.timing
    if is_carried(of.step) and timing is not None and {load for load, _ in timing.immersed} == set(CARRIED):
        read = [(_vessel_at(timing, at), (at, reading)) for at, reading in _on(of.channel, of.log)]
        return [[each for vessel, each in read if vessel == one] for one in CARRIED]
    return [_on(channel, of.log) for channel in _channels(of)]


def _vessel_at(timing: Timing, at: float) -> str:
    """The vessel in which the person had said that the probe was; "" while it was heated, and until it was said."""
    if timing.started <= at < timing.stopped:
        return ""
    since = -math.inf if at < timing.started else timing.stopped
    said = [load for load, moment in timing.immersed if since <= moment <= at]
    return said[-1] if said else ""


def _on(channel: str, log: Iterable[Timed]) -> list[Timed]:
    return [(at, reading) for at, reading in log if reading.form.channel == channel]


def _series(log: Iterable[Timed], quantity: str) -> LoggedQuantity:
    """The values of one quantity over time, each moment once."""
    kept: dict[float, tuple[float, float]] = {}
    for at, reading in log:
        if reading.form.quantity == quantity and reading.value is not None:
            kept.setdefault(at, (reading.value, reading.form.resolution))
    return LoggedQuantity(
        times=tuple(kept),
        values=tuple(value for value, _ in kept.values()),
        resolution=max((step for _, step in kept.values()), default=0.0),
    )


def _edge(at: float, uncertainty_s: float) -> StatedValue:
    """A moment with the half width of the rectangle that has its standard uncertainty."""
    return StatedValue(value=at, half_width=uncertainty_s * 3.0**0.5)
