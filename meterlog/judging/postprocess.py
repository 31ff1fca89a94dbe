"""A method on what is at hand: other steps' captures, entries, or texts. All methods stand here by name.

Captures of one instrument on one range share the meter's gain, so that in ratios, differences and
rises it cancels as far as it does.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import WrongValue
from meterlog.base.readings import Bound
from meterlog.judging import risk
from meterlog.judging.measurement import believed, less_leads, measured, null_of, shared_gain
from meterlog.judging.method import GIVEN, SERIES, SEVERAL, WORD, Input, Method, check_inputs, find_method, run
from meterlog.judging.methods import (
    capacitance,
    discharge,
    element,
    input_power,
    insulation,
    junctions,
    leakage,
    loading,
    marking,
    protective_conductor,
    ratio,
    resistance,
    symmetry,
    thermistor,
    winding,
)
from meterlog.judging.methods import trend as course
from meterlog.judging.methods.series import ReadingSeries, series_from, series_of
from meterlog.judging.result import Context, Result
from meterlog.judging.written import given_value, measured_series, measured_value

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.base.readings import Capture, Reading
    from meterlog.judging.accuracy import Accuracy

_SUBJECTS = (
    resistance, protective_conductor, insulation, junctions, capacitance, marking, discharge, loading, winding, element,
    input_power, thermistor, symmetry, leakage, ratio, course, risk,
)  # fmt: skip
METHODS: dict[str, Method] = {method.name: method for subject in _SUBJECTS for method in subject.METHODS}
"""Every post-processor by its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureAtHand:
    """A step's counting capture with its instrument.

    Attributes:
        instrument: its name on the bench; captures of one share their gain on one range; "" shares nothing.
        is_null: the leads pressed together: nothing is taken off it.
        log: gives all (time, reading) of the run, times in s from its start.
    """

    capture: Capture
    accuracy: Accuracy | None = None
    instrument: str = ""
    context: Context = field(default_factory=Context)
    is_null: bool = False
    log: Callable[[], tuple[tuple[float, Reading], ...]] = tuple


@dataclass(frozen=True, slots=True, kw_only=True)
class AtHand:
    """What a method's inputs may name.

    Attributes:
        taken: captures by step key.
        nulls: captures of the leads, before and, if there is one, after.
        entries: texts with units by name, from the rating plate and the person.
        earlier: results of other jobs by name, each with when it was taken, s, on one clock.
        missing: what an input may name and is not there yet, by name: that it is not, in words.
    """

    taken: Mapping[str, CaptureAtHand] = field(default_factory=dict)
    nulls: tuple[CaptureAtHand, ...] = ()
    entries: Mapping[str, str] = field(default_factory=dict)
    earlier: Mapping[str, tuple[float, Result]] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)

    def result(self, name: str) -> Result:
        """The result of one capture, its leads taken off. Raises: KeyError."""
        return _Found(self, {}, _null(self.nulls)).capture(name)


def post_process(name: str, inputs: Mapping[str, str], at_hand: AtHand, own: str = "") -> Result:
    """The result of a method.

    Args:
        inputs: by name, each a step's key, an entry's name, or a text such as "234.5 K", in that order.
        own: the key of the step that the method is of, when it has a capture: the first input
            where `inputs` does not name it.

    Raises: WrongValue, when the method or an input is unknown, missing or unreadable.
    """
    method = find_method(name, METHODS)
    has_own = bool(own) and own in at_hand.taken
    texts = check_inputs(method, inputs, own_capture=has_own)
    if has_own:
        texts.setdefault(method.first, own)
    found = _Found(at_hand, _gains(_words(method, texts), at_hand), _null(at_hand.nulls))
    values = {key: found.input(key, method.inputs[key], text) for key, text in texts.items()}
    result = run(method, values)
    return replace(result, is_unproved=result.is_unproved or any(each.is_unproved for each in found.seen.values()))


def _words(method: Method, texts: Mapping[str, str]) -> list[str]:
    """Every name that the inputs may mean, lists taken apart."""
    return [
        part.strip()
        for key, text in texts.items()
        for part in (text.split(",") if method.inputs[key].kind == SEVERAL else [text])
    ]


def _range(taken: CaptureAtHand) -> tuple[Any, ...]:
    form = taken.capture.form
    return (taken.instrument, form.quantity, form.mode, form.range or (form.unit, form.decimals), taken.accuracy)


def _gains(names: list[str], at_hand: AtHand) -> dict[tuple[Any, ...], Any]:
    """The shared gain of every range that two captures or more were taken on."""
    ranges = [_range(at_hand.taken[name]) for name in dict.fromkeys(names) if name in at_hand.taken]
    first = {_range(taken): taken for taken in at_hand.taken.values()}
    shared = {key for key in ranges if ranges.count(key) > 1 and key[0]}
    return {
        key: shared_gain(taken.accuracy, taken.context)
        for key, taken in first.items()
        if key in shared and taken.accuracy
    }


def _null(nulls: tuple[CaptureAtHand, ...]) -> Result | None:
    each = [measured(taken.capture, accuracy=taken.accuracy, context=taken.context, of="leads") for taken in nulls]
    return null_of(each[0], each[-1] if len(each) > 1 else None) if each else None


@dataclass(frozen=True, slots=True)
class _Found:
    """Turns the texts of inputs into results: each capture once, and one null for all."""

    at_hand: AtHand
    gains: dict[tuple[Any, ...], Any]
    null: Result | None
    seen: dict[str, Result] = field(default_factory=dict)

    def input(self, name: str, wanted: Input, text: str) -> Result | ReadingSeries | tuple[Result, ...] | str:
        if wanted.kind == WORD:
            return self.word(name, wanted, text)
        if wanted.kind == SEVERAL:
            return tuple(self.one(wanted, part.strip(), part.strip()) for part in text.split(","))
        if wanted.kind == SERIES:
            return self.series(wanted, text)
        return self.one(wanted, text, name)

    def word(self, name: str, wanted: Input, text: str) -> str:
        word = self.at_hand.entries.get(text, text)
        if wanted.words and word not in wanted.words:
            raise WrongValue(f"{name} is one of {', '.join(wanted.words)}, not {word!r}")
        return word

    def one(self, wanted: Input, text: str, name: str) -> Result:
        if text in self.at_hand.taken:
            return self.capture(text)
        if text in self.at_hand.earlier:
            return self.at_hand.earlier[text][1]
        if text in self.at_hand.missing:
            raise WrongValue(self.at_hand.missing[text])
        written = self.at_hand.entries.get(text, text)
        is_given = wanted.kind == GIVEN or text in self.at_hand.entries
        if is_given and "±" not in written:
            return given_value(written, wanted.quantity)
        return measured_value(written, wanted.quantity, of=name)

    def series(self, wanted: Input, text: str) -> ReadingSeries:
        names = [part.strip() for part in text.split(",")]
        if all(name in self.at_hand.earlier for name in names):
            return series_from([self.at_hand.earlier[name] for name in names])
        if text in self.at_hand.missing:
            raise WrongValue(self.at_hand.missing[text])
        if text not in self.at_hand.taken:
            return measured_series(text, wanted.quantity)
        taken = self.at_hand.taken[text]
        log = list(taken.log()) or [(0.0, taken.capture.reading)]
        rows = [(round(at - log[0][0], 3), reading) for at, reading in log]
        return series_of(rows, accuracy=taken.accuracy, context=taken.context)

    def capture(self, key: str) -> Result:
        if key not in self.seen:
            taken = self.at_hand.taken[key]
            gain = self.gains.get(_range(taken))
            result = measured(taken.capture, accuracy=taken.accuracy, context=taken.context, gain=gain, of=key)
            whole = taken.is_null or taken.capture.form.bound is Bound.OVERLOAD
            nulled = result if whole else less_leads(result, taken.capture, self.null)
            self.seen[key] = believed(nulled, taken.capture)
        return self.seen[key]
