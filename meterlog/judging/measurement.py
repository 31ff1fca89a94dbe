"""From a settled capture to a result: what the display showed, and every error that it may carry."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.readings import Bound, is_frozen
from meterlog.base.uncertainty import (
    Error,
    Estimate,
    effective_count,
    error_of,
    estimate,
    nominal,
    rectangle,
    standard_uncertainty,
)
from meterlog.base.units import QUANTITIES, show, symbol
from meterlog.judging.result import NOT_PROVED, PROVE, Context, Result, doubts, trails

if TYPE_CHECKING:
    from meterlog.base.readings import Capture, Form
    from meterlog.judging.accuracy import Accuracy

LEADS_OHM = 0.5
"""Test leads and contacts that were not nulled read high by 0 to this much, ohm. Common practice, no source:
leads 0.1 to 0.2, contacts to 0.15, nulls of 0.1 to 0.4 are usual."""

LOW_OHM = 100 * LEADS_OHM
"""Above this, leads are less than 1 % of a resistance, and it is taken without a null."""

SAID = "That the tips were on the points was said, not seen."
CONTACT = {
    "said": "contact: said by a press while this showed; the display alone can't tell these points from the air",
    "seen": "contact: seen; direct volts stood at 5 V or more, and leads in the air keep no such level (common"
    " practice, no source; of 19,500 simulated stretches of air up to 4 V none was taken for it)",
}
"""How it is known that the tips were on the points. The trial: `tests/trials/proofs.md`."""
ONE_KIND = {
    "dc": "Read on direct volts: alternating ones do not show there.",
    "ac": "Read on alternating volts: direct ones do not show there.",
}
LOOSE = "The leads were not proved: one that is off its point reads the same."
TYPED_BY_HAND = (
    "Typed by hand: the value, what the instrument was set to and where its tips were are the word of whoever typed it."
)
UNKNOWN = "The accuracy of the instrument is not known: only its resolution and the spread are counted."
_RESISTANCES = ("resistance", "continuity")


def measured(
    capture: Capture,
    *,
    accuracy: Accuracy | None,
    context: Context | None = None,
    gain: Estimate | None = None,
    resolution: float | None = None,
    of: str = "",
) -> Result:
    """The value or bound of a capture with its errors, before the leads are taken off.

    Args:
        gain: the relative error of the reading, where several captures share it (one meter, one
            range): see `shared_gain`. Then only the counts, the floor and the spread are its own.
        resolution: one step of the last digit, SI; the form's where None.
        of: what was measured, for the lines of a budget that has several ("leads").
    """
    context = context or Context()
    form, counts = capture.form, capture.counts
    refused = _not_taken(form)
    if refused:
        return Result(quantity=form.quantity, reason=refused)
    bound = _direction(form.bound)
    shown = capture.reading.edge if bound else form.value(counts)
    if shown is None:
        reason = "Overload on a range whose end is not known." if bound else "The display showed no number."
        return Result(quantity=form.quantity, reason=reason, advice="Tell the range's end in the profile.")
    scale_value = shown - form.offset  # a percentage is of the digits: of 21 °C, not of 294 K
    own = None if gain is not None else scale_value
    step = 0.0 if counts is None else resolution or form.resolution  # overload shows no digits
    errors, lines = _instrument_errors(own, step, accuracy, context)
    source = f", typed from {capture.typed.instrument}" if capture.typed else ""
    lines.insert(0, f"{of or 'shown'}: {_as_shown(capture, step)}{source}")
    if not bound:
        errors += _spread(capture, context, lines)
    number = estimate(shown, *(replace(error, name=f"{error.name}, {of}") if of else error for error in errors))
    if gain is not None:
        number = number + scale_value * gain
        lines.append(
            f"  gain error shared with readings of this range: u = {standard_uncertainty(gain):.4g} of the reading"
        )
    told = (*((TYPED_BY_HAND,) if capture.typed else ()), *_doubts(accuracy, context))
    return Result(quantity=form.quantity, number=number, bound=bound, trail=tuple(lines), doubts=told)


def shared_gain(accuracy: Accuracy, context: Context | None = None) -> Estimate:
    """The relative error that readings of one meter on one range have in common; 0 when it has none."""
    context = context or Context()
    part = accuracy.part_of_reading
    part += context_kelvins(accuracy, context) * (
        accuracy.temperature_reading_part_per_k + accuracy.temperature_part_per_k * accuracy.part_of_reading
    )
    half_width = part * _calibration_factor(context)
    return error_of(_specified("gain of the meter", half_width, accuracy))


def context_kelvins(accuracy: Accuracy, context: Context) -> float:
    """How far outside the accuracy's temperature span the instrument was, K."""
    return accuracy.kelvins_outside(context.ambient_k)


def less_leads(reading: Result, capture: Capture, null: Result | None) -> Result:
    """A capture's result less its leads: a typed one has those of its own instrument, not the ones that were nulled."""
    is_off = "relative" in capture.form.flags
    if capture.typed is None:
        return less_null(reading, null, already_off=is_off)
    if not is_off:
        return _not_nulled(reading) if reading.quantity in _RESISTANCES else reading
    return replace(reading, trail=(*reading.trail, "leads: nulled on the instrument, so it was typed"))


def less_null(reading: Result, null: Result | None, *, already_off: bool = False) -> Result:
    """A resistance with the resistance of the leads taken off.

    Args:
        null: the leads pressed together, from a LEADS capture; None when they were not measured.
        already_off: the meter itself subtracts (its display says "relative"): only the null's
            uncertainty is taken over.
    """
    if reading.quantity not in _RESISTANCES or reading.number is None:
        return reading
    if null is None or null.number is None or null.bound:
        return _not_nulled(reading)
    lead = null.number - nominal(null.number) if already_off else null.number
    number = reading.number - lead
    told = "leads: subtracted by the meter" if already_off else f"leads: {null}"
    line = f"{told}, u = {show(null.u, 'ohm')}; {reading} − leads = {show(nominal(number), 'ohm', 6)}"
    parts = (reading, null)
    return replace(reading, number=number, trail=(*trails(parts), line), doubts=doubts(parts))


def _not_nulled(reading: Result) -> Result:
    if reading.bound or reading.number is None or abs(nominal(reading.number)) > LOW_OHM:
        return reading
    line = f"leads: not nulled, up to {show(LEADS_OHM, 'ohm')} of the reading may be theirs"
    return replace(reading, excess=LEADS_OHM, trail=(*reading.trail, line))


def null_of(before: Result, after: Result | None = None) -> Result:
    """The null of the leads: measured before and, better, again after; what it moved by is an error too."""
    if after is None or after.number is None or before.number is None or before.bound or after.bound:
        return before
    moved = abs(nominal(after.number) - nominal(before.number))
    line = f"leads before {before}, after {after}: moved by {show(moved, 'ohm')}"
    drift = error_of(rectangle("drift of the lead null", moved / 2.0))
    number = (before.number + after.number) / 2.0 + drift
    return Result(
        quantity=before.quantity, number=number, trail=(*trails((before, after)), line), doubts=doubts((before, after))
    )


def in_circuit(reading: Result) -> Result:
    """What a reading says of one part when others in parallel were left connected.

    Parallel paths lower a resistance: it is a lower bound. They raise a capacitance: an upper bound.
    """
    if reading.number is None:
        return reading
    if reading.quantity in (*_RESISTANCES, "insulation_resistance") and reading.bound != "below":
        line = "parallel paths were connected: the part is at least this value"
        return replace(reading, bound="above", trail=(*reading.trail, line))
    if reading.quantity == "capacitance" and reading.bound != "above":
        line = "parallel capacitances were connected: the part is at most this value"
        return replace(reading, bound="below", trail=(*reading.trail, line))
    return reading


def believed(result: Result, capture: Capture) -> Result:
    """A result with how contact is known; a bound that loose leads would show as well is not taken without it.

    An open circuit at points that the tips were said to be on can condemn a part. It shows nothing sound: for that the
    leads are proved before and after.
    """
    told = _with_contact(result, capture)
    if result.bound != "above" or _leads_proved(capture):
        return told
    if capture.form.bound is Bound.OVERLOAD and capture.contact == "said":
        return replace(told, doubts=(*told.doubts, LOOSE), advice=PROVE, is_unproved=True)
    if capture.form.bound is Bound.OVERLOAD:
        return Result(quantity=result.quantity, reason=NOT_PROVED, trail=told.trail, advice=PROVE, is_unproved=True)
    if capture.form.bound is Bound.ABOVE and not capture.contact:
        return replace(told, doubts=(*told.doubts, LOOSE))
    return told


def _with_contact(result: Result, capture: Capture) -> Result:
    """How it is known that the tips were on the points, in the trail; what that leaves open, as a doubt."""
    if not capture.contact or result.number is None:
        return result
    doubt = SAID if capture.contact == "said" else ""
    one_kind = ONE_KIND.get(capture.form.mode, "") if capture.how.startswith("dead proved") else ""
    doubts = tuple(each for each in (*result.doubts, doubt, one_kind) if each)
    return replace(result, trail=(*result.trail, CONTACT[capture.contact]), doubts=doubts)


def _leads_proved(capture: Capture) -> bool:
    """Whether the leads were proved before and after, or open leads would have looked different."""
    return bool(capture.proof) or capture.how == "open proved" or capture.form.quantity == "capacitance"


def _not_taken(form: Form) -> str:
    if form.bound is Bound.OPEN_SENSOR:
        return "The sensor is broken or not plugged in."
    if form.bound is Bound.OVERLOAD and "minus" in form.flags:
        return "The display showed an overload with a minus: change the leads over and measure again."
    return "The display was frozen (hold)." if is_frozen(form.flags) else ""


def _direction(bound: Bound | None) -> str:
    return {None: "", Bound.BELOW: "below"}.get(bound, "above")


def _as_shown(capture: Capture, step: float) -> str:
    form = capture.form
    if form.bound is Bound.OVERLOAD:
        return f"overload on a range that ends at {show(form.range_top or 0.0, QUANTITIES[form.quantity].si)}"
    sign = {"above": "> ", "below": "< "}.get(_direction(form.bound), "")
    return f"{sign}{capture.reading.digits} {symbol(form.unit)}, last digit {step:g} in SI"


def _instrument_errors(
    value: float | None, resolution: float, accuracy: Accuracy | None, context: Context
) -> tuple[list[Error], list[str]]:
    """The errors of the instrument at a value: accuracy, temperature, age; or resolution alone.

    Without a value, those that do not depend on it: its gain is shared with other readings.
    """
    step = rectangle("resolution", resolution / 2.0, "half a step of the last digit, JCGM 100 F.2.2.1")
    if accuracy is None and not resolution:
        return [], []
    if accuracy is None:
        return [step], [f"  resolution: a = {resolution / 2:.4g}, u = a/√3 = {step.standard_uncertainty:.4g}"]
    half_width = accuracy.half_width(value or 0.0, resolution)
    part = f"{accuracy.part_of_reading:g} × {abs(value):.6g} + " if value is not None else ""
    name = "accuracy" if part else "accuracy, the part of its own"
    lines = [f"  {name}: {part}{accuracy.counts:g} × {resolution:g} + {accuracy.floor:g} = {half_width:.5g}"]
    warmth = accuracy.temperature_widening(value or 0.0, resolution, context.ambient_k)
    if warmth:
        half_width += warmth
        lines.append(
            f"  temperature: {context_kelvins(accuracy, context):.3g} K outside the span adds {warmth:.4g}:"
            f" {half_width:.5g}"
        )
    if context.calibration_age_s is None:
        lines.append("  calibration: its age is not known, the accuracy is taken as stated")
    factor = _calibration_factor(context)
    if factor > 1:
        half_width *= factor
        lines.append(f"  calibration: {factor:.3g} intervals old, widened by as much: {half_width:.5g}")
    error = _specified("accuracy of the meter", half_width, accuracy)
    divisor = "√3" if accuracy.coverage == "rectangular" else f"{accuracy.coverage}"
    lines.append(f"  u = {half_width:.5g} / {divisor} = {error.standard_uncertainty:.4g}")
    if accuracy.counts or accuracy.floor:
        return [error], lines
    lines.append(f"  resolution: a = {resolution / 2:.4g}, u = a/√3 = {step.standard_uncertainty:.4g}")
    return [error, step], lines


def _specified(name: str, half_width: float, accuracy: Accuracy) -> Error:
    if isinstance(accuracy.coverage, str):
        return rectangle(name, half_width, accuracy.source)
    return Error(name=name, standard_uncertainty=half_width / accuracy.coverage, source=accuracy.source)


def _calibration_factor(context: Context) -> float:
    """A calibration older than its interval widens the accuracy in proportion. Common practice, no source.

    Counted in whole days, so that the moment of asking does not matter.
    """
    if context.calibration_age_s is None:
        return 1.0
    days, interval = (math.floor(s / 86400.0) for s in (context.calibration_age_s, context.calibration_interval_s))
    return max(days / max(interval, 1), 1.0)


def _doubts(accuracy: Accuracy | None, context: Context) -> tuple[str, ...]:
    if accuracy is None:
        return (UNKNOWN,)
    if context.calibration_age_s is None:
        return ()
    overdue = _calibration_factor(context) > 1.0
    return ("The calibration of the instrument has lapsed: its accuracy was widened.",) if overdue else ()


def _spread(capture: Capture, context: Context, lines: list[str]) -> list[Error]:
    if capture.count < 2 or not capture.deviation > 0:
        return []
    worth = effective_count(capture.count, context.correlation)
    u = capture.deviation / math.sqrt(worth)
    lines.append(
        f"  spread: s = {capture.deviation:.4g} of {capture.count} readings, worth {worth:.3g} independent ones"
        f" (correlation {context.correlation:g}): u = {u:.4g}"
    )
    return [
        Error(
            name="spread of the readings",
            standard_uncertainty=u,
            distribution="readings",
            degrees_of_freedom=float(capture.count - 1),
        )
    ]
