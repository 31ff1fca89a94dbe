"""What a profile says of its instrument's error, found by the form of a reading."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.judging.accuracy import Accuracy, parse_accuracy
from meterlog.profile.language.facts import Facts, implied

if TYPE_CHECKING:
    from meterlog.base.readings import Form
    from meterlog.base.source import Problems
    from meterlog.profile.language.keys import Accurate


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """An accuracy, and the readings that it is said of."""

    of: Facts
    ranges: tuple[str, ...]
    accuracy: Accuracy

    def covers(self, form: Form) -> bool:
        """Whether a reading of this form is one of them."""
        of = self.of
        quantity = of.quantity or (implied(of.unit) if of.unit else None)
        return (
            quantity in (None, form.quantity)
            and of.mode in (None, form.mode)
            and of.channel in (None, form.channel)
            and (not self.ranges or form.range in self.ranges)
        )


def stated(said: tuple[Accurate, ...], problems: Problems) -> tuple[Stated, ...]:
    """The accuracies of a profile, in the order written: the first that covers a reading holds."""
    made = []
    for entry in said:
        accuracy = _accuracy(entry, problems)
        ranges = entry.ranges or ((entry.of.range,) if entry.of.range else ())
        if accuracy is not None:
            made.append(Stated(of=entry.of, ranges=ranges, accuracy=accuracy))
    return tuple(made)


def _accuracy(entry: Accurate, problems: Problems) -> Accuracy | None:
    quantity = entry.of.quantity or (implied(entry.of.unit) if entry.of.unit else None)
    like = units.QUANTITIES[quantity].si if quantity else ""
    try:
        accuracy = parse_accuracy(entry.within, like, entry.source)
    except WrongValue as error:
        entry.where.tell(
            problems,
            "within",
            expected="the error as printed, such as 0.5 % + 3 counts",
            saw=entry.within,
            hint=str(error),
        )
        return None
    span, coverage = None, entry.coverage
    if entry.temperature:
        low, to, high = entry.temperature.partition(" to ")
        try:
            span = (units.parse(low, "kelvin"), units.parse(high, "kelvin")) if to else None
        except WrongValue:
            span = None
        if span is None:
            entry.where.tell(
                problems, "temperature", expected="a span such as 18 degC to 28 degC", saw=entry.temperature
            )
    if coverage != "rectangular":
        try:
            return replace(
                accuracy, temperature_span=span, temperature_part_per_k=entry.per_kelvin, coverage=float(coverage)
            )
        except ValueError:
            entry.where.tell(
                problems, "coverage", expected="rectangular, or the k of an expanded uncertainty", saw=coverage
            )
    return replace(accuracy, temperature_span=span, temperature_part_per_k=entry.per_kelvin)
