"""A reading that a person types, of an instrument that is not heard: one without a data port, or a borrowed one.

    0.09 ohm nulled ± 2 % + 3 counts on earth tester 25 A

The value with its unit as the display shows it; "nulled" where the instrument took its leads off; its accuracy as its
plate or manual prints it, where that is known; its name. What was typed is kept, and read again from what was kept.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.base.readings import TYPED, Capture, Reading, Typed
from meterlog.base.spelling import tidy
from meterlog.base.spelling import words as words_of
from meterlog.base.units import QUANTITIES
from meterlog.judging.accuracy import Accuracy, parse_accuracy
from meterlog.judging.written import reading_of
from meterlog.procedure.case import StepAnswer
from meterlog.procedure.entries import refuse_slip

if TYPE_CHECKING:
    from meterlog.procedure.steps import Step

LONGEST_NAME = 60
"""Characters of an instrument's name."""
EXAMPLE = '"0.09 ohm ± 2 % + 3 counts on earth tester 25 A"'
_NULLED = re.compile(r"(.*\S)\s+(?:leads )?nulled", re.IGNORECASE)
_TEXT = re.compile(r"(.+?)\s+on\s+(?:an? |the )?(\S.*)")
_NO_DISPLAY = 'type what it showed, not "overload": the end of its range behind ">", such as "> 40 Mohm"'


def typed_text(value: str, instrument: str, accuracy: str = "") -> str:
    """The text that says a reading, its instrument and its accuracy, as `read_typed` reads it."""
    return f"{value} ± {accuracy} on {instrument}" if accuracy else f"{value} on {instrument}"


def read_typed(text: str) -> Typed:
    """What was typed, in its parts. Raises: WrongValue with an example."""
    found = _TEXT.fullmatch(tidy(text))
    if not found:
        raise WrongValue(f"write the value, its unit and the instrument, such as {EXAMPLE}")
    value, _, accuracy = (part.strip() for part in found[1].partition("±"))
    return Typed(words=value, instrument=words_of(found[2], LONGEST_NAME), accuracy=accuracy)


def reading_typed(typed: Typed, quantity: str, mode: str) -> Reading:
    """The reading that was typed, of a quantity and a mode. Raises: WrongValue."""
    nulled = _NULLED.fullmatch(typed.words)
    value = nulled[1] if nulled else typed.words
    if value.lower() in ("overload", "ol", "open"):
        raise WrongValue(_NO_DISPLAY)
    reading = reading_of(value, quantity)
    form = replace(reading.form, mode=mode, flags=("relative",) if nulled else ())
    refuse_slip(quantity, abs(form.value(reading.counts) or 0.0), value)
    return Reading(form, reading.counts)


def typed_capture(step: Step, typed: Typed, at: float) -> Capture:
    """What was typed as the capture of a step, at a time in s.

    Raises: WrongValue, when it can't be read, or nothing typed shows what the step wants.
    """
    if not step.kind.may_be_typed:
        raise WrongValue(step.kind.never_typed)
    reading = reading_typed(typed, step.quantity, step.mode)
    if reading.form.bound and step.kind.never_typed:
        raise WrongValue(step.kind.never_typed)
    stated_accuracy(typed, step.quantity)
    run = Capture.of_one(reading, at, TYPED)
    return replace(run, count=0, typed=typed)


def stated_accuracy(typed: Typed, quantity: str) -> Accuracy | None:
    """The accuracy that was typed; None where it is not known. Raises: WrongValue."""
    source = f"typed from {typed.instrument}"
    return parse_accuracy(typed.accuracy, QUANTITIES[quantity].si, source) if typed.accuracy else None


def typed_answer(capture: Capture) -> StepAnswer:
    """A typed capture with its instrument, as a verdict rests on it."""
    assert capture.typed is not None
    accuracy = stated_accuracy(capture.typed, capture.form.quantity)
    return StepAnswer(capture=capture, instrument=capture.typed.instrument, accuracy=accuracy)
