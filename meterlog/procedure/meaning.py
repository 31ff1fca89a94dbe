"""From what is written to what it means: a `Procedure`, or every way in which the keys disagree.

The checks stand one a function, in the order in which a person would ask: does the step make sense
alone, do its names exist, are its limits of the right kind. What could hurt someone stands in
`meterlog.procedure.safety`, methods and their inputs in `meterlog.procedure.arithmetic`.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.source import Problems, near_miss
from meterlog.judging.limit import Rule
from meterlog.procedure import safety
from meterlog.procedure.arithmetic import Known, check_method
from meterlog.procedure.faults import diagnosis
from meterlog.procedure.kinds import KINDS, Kind
from meterlog.procedure.step_limits import check_lower_ends, limits_of
from meterlog.procedure.steps import Point, Procedure, Settling, Step

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.procedure.written import WrittenKeys

_ALWAYS = {"step", "kind", "title", "reach", "cautions", "energised", "needs", "needs dead", "fail means", "note"}
_BENCH_NAME = re.compile(r"[a-z][a-z0-9-]{0,30}")
"""As a bench file names its instruments."""


def procedure(written: WrittenKeys, name: str, *, text: str, sha256: str, is_kept: bool = False) -> Procedure:
    """The procedure that the written keys mean.

    Args:
        is_kept: the text was taken once and is on record: what a new one must hold besides is not asked.

    Raises: WrongText with every disagreement; when there is none, with every way to mains without its proofs.
    """
    problems = Problems(name)
    points = _points(written, problems)
    steps = tuple(_step(step, written, points, problems) for step in written.steps)
    _check_names(written, problems)
    _check_methods(written, problems)
    safety.check_scope(written, problems)
    safety.check_order(written.steps, steps, problems)
    waiting = safety.waiting_for_dead(steps)
    stated = diagnosis(written.diagnosis, steps, problems)
    problems.raise_if_any()
    if not is_kept:
        _check_answerable(written, problems)
        inside = frozenset(name for name, point in points.items() if point.is_inside)
        safety.check_power(written, steps, inside, problems)
        check_lower_ends(written, steps, problems)
        problems.raise_if_any()
        safety.check_both_volts(written, waiting, problems)
        problems.raise_if_any()
    return Procedure(
        key=written.procedure,
        title=written.title,
        appliance=written.appliance,
        source=written.source,
        cautions=written.cautions,
        protection_class=written.protection_class,
        steps=waiting,
        rule=Rule(written.rule),
        plate=written.plate,
        asked=written.asked,
        where=written.where_,
        points=tuple(points.values()),
        diagnosis=stated,
        text=text,
        sha256=sha256,
    )


def _check_answerable(written: WrittenKeys, problems: Problems) -> None:
    """An instrument is asked for by a name that one can have; what others rest on counts its last capture."""
    resting = {key for step in written.steps for key in step.needs}
    for step in written.steps:
        if step.instrument and not _BENCH_NAME.fullmatch(step.instrument):
            step.where.tell(
                problems,
                "instrument",
                expected="a name that an instrument can have on a bench: small letters, digits and hyphens",
                saw=step.instrument,
                hint="-".join(step.instrument.lower().split()),
            )
        if step.which_counts == "first" and (step.step in resting or KINDS[step.kind].proves_dead):
            step.where.tell(
                problems,
                "which counts",
                expected="last, where others rest on the step: measured again, its new answer opens or shuts them",
                saw="first",
                hint="leave the key out",
            )


def _points(written: WrittenKeys, problems: Problems) -> dict[str, Point]:
    if written.points is None:
        return {}
    twice = set(written.points.outside) & set(written.points.inside)
    for name in sorted(twice):
        written.points.where.tell(
            problems,
            "inside",
            expected="each point once, outside or inside",
            saw=f"{name!r} in both",
            hint="keep it under inside when the cabinet must be open to reach it",
        )
    outside = {name: Point(name=name, text=text, is_inside=False) for name, text in written.points.outside.items()}
    return outside | {name: Point(name=name, text=text, is_inside=True) for name, text in written.points.inside.items()}


def _step(written: WrittenKeys, whole: WrittenKeys, points: Mapping[str, Point], problems: Problems) -> Step:
    kind = KINDS[written.kind]
    quantity = written.quantity or kind.quantity
    entries = {**whole.plate, **whole.asked}
    inside = [name for name in written.points if name in points and points[name].is_inside]
    _check_kind(written, kind, problems)
    _check_points(written, kind, quantity, points, problems)
    safety.check_energised(written, kind, quantity, inside, problems)
    safety.check_needs_dead(written, kind, inside, problems)
    limits = limits_of(written, quantity, entries, whole.where_, problems)
    if kind.proves_dead:
        safety.check_dead_limits(written, limits, problems)
    settling = vars(written.settling) if written.settling else {}
    return Step(
        key=written.step,
        title=written.title,
        kind=kind,
        points=written.points,
        reach=written.reach,
        quantity=quantity,
        mode=written.mode,
        instrument=written.instrument,
        test_voltage=written.test_voltage,
        limits=limits,
        cautions=written.cautions,
        energised=written.energised,
        needs=written.needs,
        needs_dead=bool(written.needs_dead) or (bool(inside) and not kind.proves_dead),
        meaning=written.fail_means,
        hold_s=3.0 if written.hold is None else written.hold,
        source_voltage=written.known_source,
        at_s=written.after,
        method=written.method,
        inputs=written.with_,
        settling=Settling(
            length_s=settling.get("length"),
            spread_counts=settling.get("spread_counts"),
            spread_part=settling.get("spread"),
            slope_counts=settling.get("slope_counts"),
            slope_part=settling.get("slope"),
        ),
        counts=written.which_counts,
        rule=Rule(written.rule) if written.rule else None,
        note=written.note,
    )


def _check_kind(written: WrittenKeys, kind: Kind, problems: Problems) -> None:
    needed, allowed = kind.needed, kind.allowed
    for key in sorted(needed):
        if not written.has(key):
            written.where.tell(
                problems, "kind", expected=f"the key {key!r} in a step of kind {kind.name!r}", saw="no such key"
            )
    for key in written.where.keys:
        if key not in needed | allowed | _ALWAYS:
            words = ", ".join(sorted(needed | allowed)) or "none but those of every step"
            written.where.tell(
                problems,
                key,
                expected=f"a key that a step of kind {kind.name!r} has",
                saw=key,
                hint=f"its keys: {words}",
            )


def _check_points(
    written: WrittenKeys, kind: Kind, quantity: str, points: Mapping[str, Point], problems: Problems
) -> None:
    for name in written.points:
        if name not in points:
            written.where.tell(
                problems,
                "points",
                expected="points that are listed under points, outside or inside",
                saw=name,
                hint=near_miss(name, points) or "list it under points: with a sentence on how it is recognised",
            )
    if len(set(written.points)) < len(written.points):
        written.where.tell(problems, "points", expected="two different points", saw=f"{written.points[0]!r} twice")
    if kind.wants_two_points(quantity) and len(written.points) != 2:
        saw = f"{len(written.points)} of them" if written.points else "none"
        written.where.tell(problems, "points", expected="the two points that the leads touch", saw=saw)


def _check_names(written: WrittenKeys, problems: Problems) -> None:
    """Steps and entries have one name each; needs names what stands before it."""
    entries = {**written.plate, **written.asked}
    for name in sorted(set(written.plate) & set(written.asked)):
        written.where.tell(problems, "asked", expected="each entry once", saw=f"{name!r} under plate: and asked:")
    every = [step.step for step in written.steps]
    before: list[str] = []
    for step in written.steps:
        if step.step in before:
            step.where.tell(problems, "step", expected="each step's name once", saw=f"{step.step} again")
        if step.step in entries:
            step.where.tell(problems, "step", expected="a name that is no entry of plate: or asked:", saw=step.step)
        for name in step.needs:
            if name not in before:
                _tell_unknown_step(step, name, before, every, problems)
        before.append(step.step)


def _check_methods(written: WrittenKeys, problems: Problems) -> None:
    before: dict[str, str] = {}
    every = [step.step for step in written.steps]
    entries = {**written.plate, **written.asked}
    for step in written.steps:
        kind = KINDS[step.kind]
        quantity = step.quantity or kind.quantity
        check_method(step, kind, quantity, Known(before, entries, every), problems)
        before[step.step] = quantity


def _tell_unknown_step(step: WrittenKeys, name: str, before: list[str], every: list[str], problems: Problems) -> None:
    if name == step.step:
        saw, hint = f"{name}, which is this step", "take it out"
    elif name in every:
        saw, hint = f"{name}, which stands later", "put that step first"
    else:
        saw, hint = name, near_miss(name, before) or "this is the first step"
    step.where.tell(problems, "needs", expected="a step that stands before this one", saw=saw, hint=hint)
