"""What a procedure must never ask for: refused where the text stands, before anything starts.

No measurement inside a live appliance, none before the proof of dead, no mains without cautions and
without protective conductor and insulation shown since the cabinet was last open, no medical equipment.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.procedure.gates import EARTH_METHOD, shows_earth
from meterlog.procedure.kinds import Opens

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from meterlog.base.source import Problems
    from meterlog.judging.limit import Limit
    from meterlog.procedure.kinds import Kind
    from meterlog.procedure.steps import Step
    from meterlog.procedure.written import WrittenKeys

TOUCHABLE_VOLTS = 60.0
"""DC that may be touched without a cover: a dead point lies below. Glossary on IEC 61140; read second-hand."""

_DEAD_FUNCTIONS = {
    "resistance", "continuity", "insulation_resistance", "junction_voltage", "capacitance", "inductance",
    "dissipation_factor",
}  # fmt: skip
"""What a meter measures with a current or voltage of its own: never on a live part."""

_OUT_OF_SCOPE = re.compile(r"\b(IEC 62353|(IEC|EN) 60601|NFPA 99|medical|patient)\b", re.IGNORECASE)


def check_energised(written: WrittenKeys, kind: Kind, quantity: str, inside: Iterable[str], problems: Problems) -> None:
    """An energised step touches nothing inside, uses no function that needs a dead part, warns and waits."""
    if not written.energised:
        return
    if kind.is_dead_only or (kind.opens is Opens.WATCH and quantity in _DEAD_FUNCTIONS):
        what = f"a step of kind {kind.name!r}" if kind.is_dead_only else quantity
        written.where.tell(
            problems,
            "energised",
            expected="false, or left out, where the part must be dead",
            saw=f"true, for {what}",
            hint="no ohms, diode or capacitance function is ever used on a live part",
        )
    for name in inside:
        written.where.tell(
            problems,
            "points",
            expected="points outside the closed cabinet in an energised step",
            saw=f"{name!r}, inside the appliance",
            hint="nothing inside a live appliance is ever measured: measure it de-energised, or from outside",
        )
    if not written.cautions:
        written.where.tell(
            problems,
            "energised",
            expected="cautions on an energised step",
            saw="none",
            hint="write for example: cautions: [closed-cabinet, first-power, attend]",
        )
    if not written.needs:
        written.where.tell(
            problems,
            "energised",
            expected="needs: the steps that must have passed before mains is on",
            saw="none",
            hint="the safety checks, such as: needs: [protective-conductor, insulation]",
        )
    if written.needs_dead:
        written.where.tell(problems, "needs dead", expected="energised or needs dead, not both", saw="both")


def check_needs_dead(written: WrittenKeys, kind: Kind, inside: list[str], problems: Problems) -> None:
    """A point inside always waits for the proof of dead."""
    if inside and written.needs_dead is False and not kind.proves_dead:
        written.where.tell(
            problems,
            "needs dead",
            expected="true, or left out, where a point lies inside the appliance",
            saw=f"false, with {inside[0]!r} inside",
            hint="leave the key out: such a step waits for the proof of dead",
        )


def check_dead_limits(written: WrittenKeys, limits: Iterable[Limit], problems: Problems) -> None:
    """A dead point is one that lies below what may be touched."""
    for text, limit in zip(written.limits, limits, strict=False):
        if limit.low is not None or limit.of or limit.high is None or limit.high > TOUCHABLE_VOLTS:
            text.where.tell(
                problems,
                "is",
                expected=f"at most {TOUCHABLE_VOLTS:g} V, or less, for a dead point",
                saw=limit.text,
                hint='such as "at most 34 V" at a plug, "at most 50 V" at a capacitor',
            )


def check_scope(written: WrittenKeys, problems: Problems) -> None:
    """Medical electrical equipment is not judged here."""
    texts = [(written, key) for key in ("title", "appliance", "source")]
    texts += [(limit, "source") for step in written.steps for limit in step.limits]
    for part, key in texts:
        match = _OUT_OF_SCOPE.search(getattr(part, key))
        if match:
            part.where.tell(
                problems,
                key,
                expected="appliances and limits other than medical electrical equipment",
                saw=match[0],
                hint="medical equipment has stricter limits and its own test equipment: it is not judged here",
            )


def waiting_for_dead(steps: Iterable[Step]) -> tuple[Step, ...]:
    """The steps, where one that needs the appliance dead waits for every proof since mains was last on."""
    found: list[Step] = []
    proofs: list[str] = []
    for step in steps:
        if step.energised:
            proofs = []
        waits = (key for key in proofs if step.needs_dead and key not in step.needs)
        found.append(replace(step, needs=(*waits, *step.needs)))
        if step.kind.proves_dead:
            proofs.append(step.key)
    return tuple(found)


def check_order(written: Iterable[WrittenKeys], steps: Iterable[Step], problems: Problems) -> None:
    """A step that needs dead comes after a dead step, and after a new one once mains was on."""
    is_proved, was_energised = False, False
    for text, step in zip(written, steps, strict=True):
        if step.needs_dead and not is_proved:
            why = "mains was on since the last one" if was_energised else "none"
            text.where.tell(
                problems,
                "needs dead" if text.has("needs dead") else "points",
                expected="a step of kind 'dead' before a step that needs the appliance dead",
                saw=why,
                hint="prove it dead first, at the points where it counts",
            )
        if step.energised:
            is_proved, was_energised = False, True
        is_proved = is_proved or step.kind.proves_dead


@dataclass(frozen=True, slots=True)
class MainsCondition:
    """One thing that must be shown before mains is on: in words, how it is written, whether a step shows it."""

    what: str
    hint: str
    by: Callable[[Step, frozenset[str]], bool]


CLOSED = MainsCondition(
    "a look-at step that says the cabinet is closed again",
    "such as: {step: refitted, kind: look, …}, in needs: of the steps that follow",
    lambda step, _: step.kind.opens is Opens.LOOK and not step.energised,
)
EARTHED = MainsCondition(
    "the protective conductor shown",
    f'a step with "method: {EARTH_METHOD}", in needs:; of class II, write "protection class: II" at the top',
    lambda step, _: shows_earth(step),
)
INSULATED = MainsCondition(
    "the insulation to metal outside shown against a limit",
    "a step of insulation_resistance with limits:, line and neutral joined to metal, in needs:",
    lambda step, inside: (
        step.quantity == "insulation_resistance"
        and bool(step.limits or step.method)
        and bool(step.points)
        and inside.isdisjoint(step.points)
    ),
)


def check_power(written: WrittenKeys, steps: Sequence[Step], inside: frozenset[str], problems: Problems) -> None:
    """No energised step is reached but through the closed cabinet, the protective conductor and the insulation."""
    wanted = (INSULATED,) if written.protection_class == "II" else (EARTHED, INSULATED)
    for at, (text, step) in enumerate(zip(written.steps, steps, strict=True)):
        if not step.energised:
            continue
        waited = _waited_for(steps, step.key)
        opened = max((i for i in range(at) if not inside.isdisjoint(steps[i].points)), default=-1)
        closed = next((i for i in range(opened + 1, at) if steps[i].key in waited and CLOSED.by(steps[i], inside)), at)
        if opened >= 0 and closed == at:
            _tell_power(text, steps[:at], CLOSED, opened, inside, problems)
        after = closed if opened >= 0 and closed < at else opened
        for what in wanted:
            if not any(steps[i].key in waited and what.by(steps[i], inside) for i in range(after + 1, at)):
                _tell_power(text, steps[:at], what, after, inside, problems)


_SEES = {"ac": {"AC"}, "dc": {"DC"}, "ac+dc": {"AC", "DC"}}
"""What a voltage function shows of what stands at the points. One that is not named shows nothing for certain."""


def check_both_volts(written: WrittenKeys, steps: Sequence[Step], problems: Problems) -> None:
    """Whoever waits for a proof of dead waits for one on AC and one on DC: DC is blind to mains, AC to charge."""
    refused: set[str] = set()
    for at, step in enumerate(steps):
        if step.energised or step.kind.proves_dead:
            continue
        waited = _waited_for(steps, step.key)
        since = max((i for i in range(at) if steps[i].energised), default=-1) + 1
        proofs = [i for i in range(since, at) if steps[i].key in waited and steps[i].kind.proves_dead]
        seen: set[str] = set().union(*(_SEES.get(steps[i].mode, set()) for i in proofs))
        if not proofs or seen == {"AC", "DC"} or steps[proofs[0]].key in refused:
            continue
        refused.add(steps[proofs[0]].key)
        other = "ac" if seen == {"DC"} else "dc"
        written.steps[proofs[0]].where.tell(
            problems,
            "mode",
            expected=f"a proof on AC and one on DC, both waited for by {step.key!r}: neither sees the other's",
            saw=f"a proof on {min(seen)} alone" if seen else "a proof whose function is not named",
            hint=f"a step of kind 'dead' with mode: {other} at these points, in needs: of one or the other"
            if seen
            else "write mode: dc, and another step of kind 'dead' with mode: ac",
        )


def _waited_for(steps: Sequence[Step], key: str) -> set[str]:
    """Every step that one waits for, and those that these wait for."""
    needs = {step.key: step.needs for step in steps}
    found: set[str] = set()
    ahead = list(needs[key])
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += needs[name]
    return found


def _tell_power(
    text: WrittenKeys,
    before: Sequence[Step],
    what: MainsCondition,
    after: int,
    inside: frozenset[str],
    problems: Problems,
) -> None:
    there = [(i, step.key) for i, step in enumerate(before) if what.by(step, inside)]
    saw = "no such step before it"
    if there:
        i, key = there[-1]
        saw = f"{key!r}, which it does not wait for" if i > after else f"{key!r}, before {before[after].key!r}"
    since = f", after {before[after].key!r}" if after >= 0 else ""
    text.where.tell(problems, "needs", expected=f"{what.what} before mains is on{since}", saw=saw, hint=what.hint)
