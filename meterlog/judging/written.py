"""Values as a person writes them: "0.42 ohm", "> 4.5 Gohm", "overload", "25.3 ohm ± 1 % + 2 counts".

A measured value keeps the digits that were written, so that its resolution is known. A given one
(a rating, a constant) is exact.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.base.readings import COUNTS_LIMIT, Bound, Capture, Form, Reading
from meterlog.base.spelling import NUMBER, parts_of, split_range, tidy
from meterlog.base.unit_names import plain
from meterlog.base.units import (
    QUANTITIES,
    bounded,
    counts_of,
    parse,
    same_kind,
    scaled,
    si_factor,
    split_measure,
    split_number,
)
from meterlog.judging.accuracy import Accuracy, parse_accuracy
from meterlog.judging.formula import exactly
from meterlog.judging.measurement import measured
from meterlog.judging.methods.series import ReadingSeries, series_of

if TYPE_CHECKING:
    from meterlog.judging.result import Context, Result

MOST_DECIMALS = 30
_BOUNDS = {">": Bound.ABOVE, "<": Bound.BELOW}
"""What a display puts before its digits. A person's ≤ is a limit, not a reading."""
_STEP = re.compile(rf"({NUMBER}\s*\S*)\s*[:=]\s*(.+)")


def given_value(text: str, quantity: str) -> Result:
    """A value that is given: "2000 W" is exact, "220-240 V" lies somewhere between. Raises: WrongValue."""
    si = QUANTITIES[quantity].si
    if ends := split_range(text):
        low, high = (_possible(parse(end, si), si, text) for end in ends)
        middle, half, scale = (low + high) / 2, abs(high - low) / 2, "delta_degC" if si == "kelvin" else si
        return measured_value(f"{middle:.9g} {si} ± {half:.9g} {scale}", quantity)
    return exactly(_possible(parse(text, si), si, text), quantity)


def measured_value(
    text: str,
    quantity: str,
    *,
    accuracy: Accuracy | None = None,
    resolution: str = "",
    range_top: str = "",
    context: Context | None = None,
    of: str = "",
) -> Result:
    """A measured value from its text, with what its accuracy (or one behind "±") and digits allow.

    Args:
        resolution: one step of the last digit, with its unit; "" for that of the digits written.
        range_top: where the range ends, with its unit: for "overload".
        of: what was measured, for the lines of a budget that has several.

    Raises: WrongValue.
    """
    shown, accuracy = _with_accuracy(text, quantity, accuracy)
    step = _step_of(resolution, quantity) if resolution else None
    reading = reading_of(shown, quantity, range_top)
    return measured(Capture.of_one(reading, 0.0, "written"), accuracy=accuracy, context=context, resolution=step, of=of)


def measured_series(text: str, quantity: str, *, accuracy: Accuracy | None = None) -> ReadingSeries:
    """A run of readings: "10 s: 5.638 ohm, 20 s: 5.572 ohm", an accuracy for all behind "±". Raises: WrongValue."""
    shown, accuracy = _with_accuracy(text, quantity, accuracy)
    readings: list[tuple[float, Reading]] = []
    for part in parts_of(shown):
        match = _STEP.fullmatch(part)
        if not match:
            raise WrongValue(f'write a time and a reading, such as "10 s: 5.638 ohm", not {part!r}')
        readings.append((parse(match[1], "second"), reading_of(match[2].strip(), quantity)))
    return series_of(readings, accuracy=accuracy)


def _with_accuracy(text: str, quantity: str, accuracy: Accuracy | None) -> tuple[str, Accuracy | None]:
    """The text before its "±", and the accuracy behind it; the one given where there is none. Raises: WrongValue."""
    shown, sign, behind = (part.strip() for part in tidy(text).partition("±"))
    return shown, parse_accuracy(behind, like=QUANTITIES[quantity].si) if sign else accuracy


def reading_of(text: str, quantity: str, range_top: str = "") -> Reading:
    """A reading as it was written down: "0.42 ohm", "> 4.5 Gohm". Raises: WrongValue."""
    si = QUANTITIES[quantity].si
    top = parse(range_top, si) if range_top else None
    if text.lower() in ("overload", "ol"):
        if top is None:
            raise WrongValue('overload is a bound by the end of the range: tell it, such as --range-top "6 Mohm"')
        return Reading(Form(quantity=quantity, unit=si, scale=1.0, bound=Bound.OVERLOAD, range_top=top), None)
    bound = _BOUNDS.get(text[:1])
    digits, unit = _split(text[1:] if bound else text, si)
    if not same_kind(unit, si):
        raise WrongValue(f"expected a unit like {si}, saw {unit!r} in {text!r}")
    scale, offset = si_factor(unit)
    counts, decimals = counts_of(digits)
    if abs(counts) >= COUNTS_LIMIT or abs(decimals) > MOST_DECIMALS:
        raise WrongValue(f"no display shows {digits}")
    _possible(scaled(counts, decimals, scale) + offset, si, text)
    form = Form(
        quantity=quantity, unit=plain(unit), scale=scale, offset=offset, decimals=decimals, bound=bound, range_top=top
    )
    return Reading(form, counts)


def _split(text: str, si: str) -> tuple[str, str]:
    return split_number(text) if si == "dimensionless" else split_measure(text)


def _possible(value: float, si: str, text: str) -> float:
    if si == "kelvin" and value < 0:
        raise WrongValue(f"{text} lies below absolute zero")
    return bounded(value, text)


def _step_of(resolution: str, quantity: str) -> float:
    """One step of the last digit in SI, from its text."""
    digits, unit = _split(resolution, QUANTITIES[quantity].si)
    if not same_kind(unit, QUANTITIES[quantity].si):
        raise WrongValue(f"expected a unit like {QUANTITIES[quantity].si}, saw {unit!r} in {resolution!r}")
    counts, decimals = counts_of(digits)
    if counts <= 0 or abs(decimals) > MOST_DECIMALS:
        raise WrongValue(f"a resolution is more than nothing, not {resolution!r}")
    return scaled(counts, decimals, si_factor(unit)[0])
