"""What a procedure says of faults, for `meterlog.diagnosis`: which there are, what finds them, what all of it costs.

The words stand for numbers that their author guesses; only their order and rough size matter. A plain number between
0 and 1 (a weight: above 0) may stand in place of a word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.schema import Key, ListOf, MapOf, Record, Scalar, choice, quantity
from meterlog.base.source import near_miss
from meterlog.judging.limit import MARKS
from meterlog.procedure.shapes import ENTRY, NAME, SENTENCE
from meterlog.procedure.written import WrittenKeys

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.base.source import Problems
    from meterlog.procedure.steps import Step

WEIGHTS = {"common": 8.0, "usual": 4.0, "sometimes": 2.0, "rare": 1.0, "not excluded": 0.25}
"""How often a fault is behind a complaint, beside the others. Common practice, no source."""

FINDS = {"finds": 0.93, "often finds": 0.7, "sometimes": 0.3, "hints": 0.1}
"""The probability that a check fails when the fault is there. Common practice, no source."""

UNDECIDED = {"seldom": 0.03, "sometimes": 0.12, "mostly": 0.85}
"""The probability that a check of a sound part comes to no decision. Common practice, no source."""

FAULT_MARKS = {**MARKS, "guess": "the author's guess"}


LEAST = 1e-6
"""What is rarer than this is not stated; the largest probability is as far from one."""


def _word_or_number(words: Mapping[str, float], most: float) -> Scalar:
    listed = ", ".join(words)

    def parse(value: str) -> float:
        if value in words:
            return words[value]
        try:
            number = float(value) if len(value) < 12 else 0.0
        except ValueError:
            raise ValueError(near_miss(value, words)) from None
        if not LEAST <= number <= most - LEAST:
            raise ValueError(f"above 0 and below {most:g}, by {LEAST:f} at least")
        return number

    return Scalar(f"one of: {listed}; or a number", parse, {"type": ["string", "number"]})


MINUTES = quantity("second", "2 min", "0 min", "10000 min")

FAULT = Record(
    "a fault",
    WrittenKeys,
    {
        "fault": Key(shape=NAME, doc="Its name.", required=True),
        "part": Key(shape=ENTRY, doc="The part that is renewed for it, one of parts:.", required=True),
        "weights": Key(
            shape=MapOf(NAME, _word_or_number(WEIGHTS, 1000.0), least=1),
            doc="For each complaint how often it is behind it, beside the others.",
            required=True,
        ),
        "mark": Key(shape=choice(*FAULT_MARKS), doc="How those weights are known.", required=True),
    },
)

PART = Record(
    "a part",
    WrittenKeys,
    {
        "part": Key(shape=ENTRY, doc="Its name.", required=True),
        "renew": Key(shape=MINUTES, doc="What renewing it takes at the bench.", required=True),
        "cost": Key(shape=MINUTES, doc="Its price and the waiting for it, put into time.", default=0.0),
    },
)

CHECK = Record(
    "a check",
    WrittenKeys,
    {
        "check": Key(shape=NAME, doc="The step that it is.", required=True),
        "takes": Key(shape=MINUTES, doc="What measuring takes, without what must be arranged first.", required=True),
        "set-ups": Key(shape=ListOf(ENTRY), doc="What must be arranged first, from set-ups:.", default=()),
        "finds": Key(
            shape=MapOf(NAME, _word_or_number(FINDS, 1.0), least=1),
            doc="Faults that make it fail, and how surely.",
            required=True,
        ),
        "false alarms": Key(
            shape=_word_or_number({}, 1.0), doc="How often it fails where nothing is wrong.", default=0.03
        ),
        "undecided": Key(
            shape=_word_or_number(UNDECIDED, 1.0),
            doc="How often it comes to no decision; mostly: of a sound part.",
            default=UNDECIDED["seldom"],
        ),
        "same evidence": Key(
            shape=ENTRY, doc="A name shared by checks with the same leads and method: only the strongest counts.",
            default="",
        ),
    },
)  # fmt: skip

ELSE = Record(
    "something else",
    WrittenKeys,
    {
        "weights": Key(
            shape=MapOf(NAME, _word_or_number(WEIGHTS, 1000.0)),
            doc="For each complaint how often none of the faults is behind it.",
            default={},
        ),
        "cost": Key(shape=MINUTES, doc="What looking further costs.", default=3600.0),
    },
)

DIAGNOSIS = Record(
    "diagnosis",
    WrittenKeys,
    {
        "complaints": Key(
            shape=MapOf(NAME, SENTENCE, least=1), doc="What owners say, in their words.", required=True
        ),
        "set-ups": Key(
            shape=MapOf(ENTRY, MINUTES), doc="What must be arranged before a check, paid for once.", default={}
        ),
        "parts": Key(shape=ListOf(PART, least=1), doc="Parts that may have to be renewed.", required=True),
        "faults": Key(shape=ListOf(FAULT, least=1), doc="The ways in which they fail.", required=True),
        "checks": Key(shape=ListOf(CHECK, least=1), doc="Steps that find them.", required=True),
        "something else": Key(shape=ELSE, doc="What is left when it is none of them."),
    },
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedFault:
    """A fault with its weight by complaint, > 0, and how those weights are known."""

    key: str
    part: str
    weights: Mapping[str, float]
    mark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedPart:
    """A part: seconds at the bench to renew it, and its price and waiting in seconds."""

    name: str
    renew_s: float
    cost_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedCheck:
    """What a step finds: probabilities by fault; times in seconds."""

    step: str
    takes_s: float
    set_ups: tuple[str, ...]
    finds: Mapping[str, float]
    false_alarms: float
    undecided: float
    same_evidence: str

    @property
    def undecided_when_sound(self) -> bool:
        """Whether no decision is what a sound part mostly gives."""
        return self.undecided > 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedDiagnosis:
    """All that a procedure says of faults. Times in seconds, weights by complaint."""

    complaints: Mapping[str, str]
    set_ups: Mapping[str, float]
    parts: tuple[StatedPart, ...]
    faults: tuple[StatedFault, ...]
    checks: tuple[StatedCheck, ...]
    else_weights: Mapping[str, float]
    else_s: float


def diagnosis(written: WrittenKeys | None, steps: Iterable[Step], problems: Problems) -> StatedDiagnosis | None:
    """What is stated of faults; names that are nowhere are told."""
    if written is None:
        return None
    parts = [part.part for part in written.parts]
    faults = [fault.fault for fault in written.faults]
    for name, records in (("part", written.parts), ("fault", written.faults), ("check", written.checks)):
        _tell_twice(name, records, problems)
    for fault in written.faults:
        _tell_unknown(fault, "part", [fault.part], parts, "a part of parts:", problems)
        _tell_unknown(fault, "weights", fault.weights, written.complaints, "a complaint of complaints:", problems)
    for check in written.checks:
        _tell_unknown(check, "check", [check.check], [step.key for step in steps], "a step", problems)
        _tell_unknown(check, "finds", check.finds, faults, "a fault of faults:", problems)
        _tell_unknown(check, "set-ups", check.set_ups, written.set_ups, "a set-up of set-ups:", problems)
    other = written.something_else
    if other is not None:
        _tell_unknown(other, "weights", other.weights, written.complaints, "a complaint of complaints:", problems)
    return StatedDiagnosis(
        complaints=written.complaints,
        set_ups=written.set_ups,
        parts=tuple(StatedPart(name=part.part, renew_s=part.renew, cost_s=part.cost) for part in written.parts),
        faults=tuple(
            StatedFault(key=fault.fault, part=fault.part, weights=fault.weights, mark=fault.mark)
            for fault in written.faults
        ),
        checks=tuple(
            StatedCheck(
                step=check.check, takes_s=check.takes, set_ups=check.set_ups, finds=check.finds,
                false_alarms=check.false_alarms, undecided=check.undecided, same_evidence=check.same_evidence,
            )
            for check in written.checks
        ),
        else_weights={} if other is None else other.weights,
        else_s=3600.0 if other is None else other.cost,
    )  # fmt: skip


def _tell_twice(key: str, records: Iterable[WrittenKeys], problems: Problems) -> None:
    before: set[str] = set()
    for record in records:
        name = getattr(record, key)
        if name in before:
            record.where.tell(problems, key, expected=f"each {key} once", saw=f"{name} again")
        before.add(name)


def _tell_unknown(
    record: WrittenKeys, key: str, names: Iterable[str], known: Iterable[str], expected: str, problems: Problems
) -> None:
    there = list(known)
    for name in names:
        if name not in there:
            record.where.tell(problems, key, expected=expected, saw=name, hint=near_miss(name, there))
