"""What a procedure is, once read: its steps, limits and cautions as frozen records in SI.

`meterlog.procedure.language` reads YAML into these; the walk, the evaluator and the pages take them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from meterlog.judging.limit import Limit, Rule

if TYPE_CHECKING:
    from collections.abc import Container, Mapping, Sequence

    from meterlog.procedure.faults import StatedDiagnosis
    from meterlog.procedure.kinds import Kind

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """A step's own settling parameters; None keeps the quantity's. See `meterlog.walk.settle`."""

    length_s: float | None = None  # T
    spread_counts: float | None = None  # A
    spread_part: float | None = None  # B, a ratio
    slope_counts: float | None = None  # C
    slope_part: float | None = None  # D, a ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One check of a procedure.

    Attributes:
        key: its name within the procedure, the stable name in the record.
        points: probe points in the order black, red or first, second; may be empty.
        reach: how to get to the points safely.
        quantity, mode: what is wanted, as in `readings.Form`; "" where nothing is measured.
        instrument: the bench name of the instrument wanted, "" for any that gives the quantity.
        test_voltage: V that the tester applies, None where it has no meaning.
        limits: what passes; empty: recorded, not judged. Several: chosen by `where`, see `limit_for`.
        cautions: said and shown before the step.
        energised: mains is on during the step.
        needs: keys of steps that must have passed before.
        needs_dead: waits for the proof that the appliance is dead.
        meaning: what a fail usually means.
        hold_s: how long an open, a dead point or a bound must be held, s.
        source_voltage: V of the known source of a DEAD step.
        at_s: for AT_TIME, s after the test began.
        method: the post-processor or heating method, "" for the value itself.
        inputs: its parameters by name: each the key of another step, a plate's or asked entry, or a
            text such as "234.5 K", told apart in that order.
        counts: which capture counts when there are several: "last" or "first".
        note: what else is worth knowing while measuring.
        rule: the decision rule; the procedure's where None.
    """

    key: str
    title: str
    kind: Kind
    points: tuple[str, ...] = ()
    reach: str = ""
    quantity: str = ""
    mode: str = ""
    instrument: str = ""
    test_voltage: float | None = None
    limits: tuple[Limit, ...] = ()
    cautions: tuple[str, ...] = ()
    energised: bool = False
    needs: tuple[str, ...] = ()
    needs_dead: bool = False
    meaning: str = ""
    hold_s: float = 3.0
    source_voltage: float | None = None
    at_s: float | None = None
    method: str = ""
    inputs: Mapping[str, str] = field(default_factory=dict)
    settling: Settling = field(default_factory=Settling)
    counts: str = "last"
    rule: Rule | None = None
    note: str = ""

    def counting(self, captures: Sequence[T]) -> T | None:
        """Of the step's captures, oldest first, the one that counts: its last, or its first where it says so."""
        return (captures[0] if self.counts == "first" else captures[-1]) if captures else None

    @property
    def is_judged(self) -> bool:
        """Whether it can pass or fail: without limit and method it is recorded, and that is all."""
        return bool(self.limits or self.method)

    @property
    def as_shown(self) -> dict[str, str]:
        """What a record shows of the step, by column."""
        return {
            "key": self.key,
            "title": self.title,
            "kind": self.kind.name,
            "points": " – ".join(self.points),
            "quantity": self.quantity,
            "limits": "; ".join(limit.text for limit in self.limits),
        }

    def limit_for(self, where: str) -> Limit | None:
        """The limit that holds in a jurisdiction: its own, else the one for all, else None."""
        for name in (where, ""):
            for limit in self.limits:
                if limit.where == name:
                    return limit
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A named place that a lead touches: how it is recognised, and whether it lies inside the appliance."""

    name: str
    text: str
    is_inside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """The steps of one type of appliance, in order, with the text they were read from.

    Attributes:
        cautions: said, shown and acknowledged before the first step.
        protection_class: "I" or "II", as IEC 61140 names them: whether there is a protective conductor to show.
        plate, asked: quantity by name of what is copied from the rating plate, and of what the
            person is asked for (cord length, water mass), or "words". Steps use both by name.
        where: jurisdictions whose limits can be chosen, with edition and standing of each.
    """

    key: str
    title: str
    appliance: str
    source: str
    cautions: tuple[str, ...]
    steps: tuple[Step, ...]
    protection_class: str = "I"
    rule: Rule = Rule.GUARD
    plate: Mapping[str, str] = field(default_factory=dict)
    asked: Mapping[str, str] = field(default_factory=dict)
    where: Mapping[str, str] = field(default_factory=dict)
    points: tuple[Point, ...] = ()
    diagnosis: StatedDiagnosis | None = None
    text: str = ""
    sha256: str = ""

    @property
    def entries(self) -> dict[str, str]:
        """Quantity by name of everything that is entered rather than measured."""
        return {**self.plate, **self.asked}

    def instruments_absent(self, bench: Container[str]) -> tuple[str, ...]:
        """Instruments that steps ask for by name and that a bench does not have, in the order of the steps."""
        named = dict.fromkeys(step.instrument for step in self.steps if step.instrument)
        return tuple(name for name in named if name not in bench)

    def step(self, key: str) -> Step:
        """The step of that key. Raises: KeyError."""
        for step in self.steps:
            if step.key == key:
                return step
        raise KeyError(key)
