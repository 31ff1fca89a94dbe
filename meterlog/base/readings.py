"""The records that flow through the house: forms and readings, the outcomes of framing, captures.

    bytes ──framer, decoder──▶ Frame | Rejected | Skipped      every byte is in exactly one
                                 └─ Reading = Form + counts ──settle──▶ Capture

A reading is what the display showed: whole `counts` of its last digit, and a `Form` that says
everything else. Forms are few and shared (a meter at rest shows one), so a reading is small, its
digits are exact, and its resolution is known.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from meterlog.base.units import scaled

COUNTS_LIMIT = 2**53
"""Counts stay below this, so that a float holds them exactly."""


_HOLD = re.compile(r"\bhold\b", re.IGNORECASE)
_MEANING = re.compile(r"\b(rel|relative|delta|min|minimum|max|maximum|avg|average|peak)\b", re.IGNORECASE)


@lru_cache(maxsize=1024)
def is_frozen(flags: tuple[str, ...]) -> bool:
    """Whether flags say that the display holds what it showed: "hold", "AUTO HOLD", in a profile's own words.

    >>> [is_frozen((flag,)) for flag in ("hold", "Data-Hold", "peak hold", "threshold")]
    [True, True, True, False]
    """
    return any(_HOLD.search(flag) for flag in flags)


@lru_cache(maxsize=1024)
def changes_meaning(flags: tuple[str, ...]) -> tuple[str, ...]:
    """The flags that make a number another number, such as "relative" or "MAX"; sorted.

    >>> changes_meaning(("MAX", "auto range", "rel"))
    ('MAX', 'rel')
    """
    return tuple(sorted(flag for flag in flags if _MEANING.search(flag)))


class Bound(StrEnum):
    """A reading that is no number but an edge of one."""

    ABOVE = "above"  # "> 2.2 GΩ": the true value lies above the digits shown
    BELOW = "below"  # "< 0.01 MΩ"
    OVERLOAD = "overload"  # above what the range shows; open leads look the same
    OPEN_SENSOR = "open sensor"  # the probe is broken or not plugged in


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """Everything a display shows but the digits. Shared between readings; build rarely, keep.

    Attributes:
        channel: which display or input, "main" where there is one.
        quantity: a name of `units.QUANTITIES`.
        mode: "ac", "dc", "ac+dc" or "" where it has no meaning.
        unit: the unit shown, in ASCII ("kohm", "degC").
        scale, offset: value_si = number shown * scale + offset.
        decimals: digits after the point; negative where the last digit stands for tens.
        width: digits before the point that are always shown (1 for "0.420", 3 for "004.2").
        negative_zero: the display showed a minus before zeros only.
        bound: set when the reading is an edge; the digits, if any, are that edge.
        flags: words such as "hold", "relative", "auto range", "low battery", sorted.
        range: the profile's name for the range, "" where none is told: the key to its accuracy.
        range_top: SI value of the range's end, None where the profile does not say.
    """

    quantity: str
    unit: str
    scale: float
    offset: float = 0.0
    decimals: int = 0
    width: int = 1
    channel: str = "main"
    mode: str = ""
    negative_zero: bool = False
    bound: Bound | None = None
    flags: tuple[str, ...] = ()
    range: str = ""
    range_top: float | None = None

    @property
    def resolution(self) -> float:
        """One step of the last digit, in SI."""
        return self.scale / 10.0**self.decimals

    def digits(self, counts: int | None) -> str:
        """The digits exactly as shown, a decimal text in `unit`; "" when there were none.

        >>> Form(quantity="resistance", unit="ohm", scale=1.0, decimals=3).digits(420)
        '0.420'
        >>> Form(quantity="resistance", unit="ohm", scale=1.0, decimals=-2).digits(15)
        '15E+2'
        """
        if counts is None:
            return ""
        sign = "-" if counts < 0 or self.negative_zero else ""
        if self.decimals <= 0:
            text = f"{abs(counts):0{self.width}d}"
            return f"{sign}{text}E+{-self.decimals}" if self.decimals else sign + text
        text = f"{abs(counts):0{self.width + self.decimals}d}"
        return f"{sign}{text[: -self.decimals]}.{text[-self.decimals :]}"

    def value(self, counts: int | None) -> float | None:
        """The SI value of the digits, bound or not; None when there were none."""
        if counts is None:
            return None
        return scaled(counts, self.decimals, self.scale) + self.offset


class Reading:
    """One decoded value: the counts that were shown and their form. Treat as unchangeable."""

    __slots__ = ("counts", "form")

    def __init__(self, form: Form, counts: int | None) -> None:
        self.form = form
        self.counts = counts

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Reading):
            return NotImplemented
        return self.counts == other.counts and self.form == other.form

    def __hash__(self) -> int:
        return hash((self.counts, self.form))

    def __repr__(self) -> str:
        form = self.form
        shown = " ".join(part for part in (form.bound or "", self.digits, form.unit) if part)
        return f"<Reading {form.channel} {form.quantity} {shown}>"

    @property
    def digits(self) -> str:
        """What the display showed, exactly; the edge's digits for a bound, "" when there were none."""
        return self.form.digits(self.counts)

    @property
    def words(self) -> str:
        """What the display showed, with the sign of a bound and the unit: "> 4.5 Gohm", "overload"."""
        sign = {Bound.ABOVE: ">", Bound.BELOW: "<"}.get(self.form.bound, "") if self.form.bound else ""
        unit = self.form.unit if self.digits else ""
        return " ".join(part for part in (sign, self.digits or str(self.form.bound or ""), unit) if part)

    @property
    def value(self) -> float | None:
        """SI value, None when the reading is a bound."""
        return None if self.form.bound else self.form.value(self.counts)

    @property
    def edge(self) -> float | None:
        """For a bound, the SI value beyond which the truth lies: the digits, else the range's end."""
        form = self.form
        if form.bound in (Bound.ABOVE, Bound.BELOW) and self.counts is not None:
            return form.value(self.counts)
        return form.range_top if form.bound in (Bound.ABOVE, Bound.OVERLOAD) else None


@dataclass(slots=True)
class Frame:
    """A message that is believed. Its bytes, where they stand in the link's stream, when the last arrived.

    `readings` may be empty: an identity answer or an acknowledgement carries none.
    """

    start: int
    raw: bytes
    at: float
    readings: tuple[Reading, ...]


@dataclass(slots=True)
class Rejected:
    """A message that is not believed, with the reason in words: never guessed at, always counted."""

    start: int
    raw: bytes
    at: float
    reason: str


@dataclass(slots=True)
class Skipped:
    """Bytes outside any message."""

    start: int
    raw: bytes
    at: float


StreamOutcome = Frame | Rejected | Skipped


@dataclass(frozen=True, slots=True)
class Timing:
    """A start and a stop, s on the link's clock, with the standard uncertainty of each, s.

    `immersed`: in which load ("first" or "second" of two vessels, else "") the person said, and when, that the whole
    probe was under.
    """

    started: float
    stopped: float
    start_uncertainty_s: float
    stop_uncertainty_s: float
    immersed: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What a person typed: the words of the reading ("0.09 ohm"), whose display showed it, and its stated accuracy.

    `accuracy` as the instrument's plate or manual prints it, "" where it is not known.
    """

    words: str
    instrument: str
    accuracy: str = ""


TYPED = "typed"
"""How a capture was taken that a person typed."""
HEATING_RUN = "heating run"
"""How a heating run is captured: every reading of it. What it found is worked out; no one reading shows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """The settled run that answers a step.

    Attributes:
        form, counts: the median reading of the run: a real reading, with its digits.
        count: readings in the run.
        spread: largest minus smallest value, SI; 0 for a bound.
        deviation: sample standard deviation of the values, SI; 0 for a bound.
        started, ended: times of the first and last reading, s on the link's clock.
        first, last: their ordinal numbers among the link's readings, from 0.
        how: the rule that chose it: "settled", "open proved, contact said", "dead proved, contact said",
            "dead proved, contact seen", "bound held", "at time", "switch", "timed", "typed", "heating run"; in
            records of before contact was asked for, "open proved" and "dead proved" alone.
        proof: ordinal spans of the readings that proved the instrument before, the contact in between,
            and the instrument after, if any.
        timing: of a heating run: when heating was switched on and off, where somebody told.
        typed: of a typed one: what was typed; `count` is 0, for no reading was heard.
    """

    form: Form
    counts: int | None
    count: int
    spread: float
    deviation: float
    started: float
    ended: float
    first: int
    last: int
    how: str
    proof: tuple[tuple[int, int], ...] = ()
    timing: Timing | None = None
    typed: Typed | None = None

    @property
    def is_run(self) -> bool:
        """Whether it is a heating run: its median reading answers nothing."""
        return self.how == HEATING_RUN

    @classmethod
    def of_one(cls, reading: Reading, at: float, how: str) -> Capture:
        """One reading as a run of its own, at a time in s."""
        return cls(
            form=reading.form, counts=reading.counts, count=1, spread=0.0, deviation=0.0,
            started=at, ended=at, first=0, last=0, how=how,
        )  # fmt: skip

    @property
    def reading(self) -> Reading:
        return Reading(self.form, self.counts)

    @property
    def contact(self) -> str:
        """How it is known that the tips were on the points: "said", "seen", "" where nothing but the value tells."""
        if self.how == "switch":
            return "said"
        return self.how.rpartition(", contact ")[2] if ", contact " in self.how else ""
