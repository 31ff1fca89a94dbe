"""A procedure as a job sheet: plain text to read before the job, or to print and take to the bench."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from meterlog.base.units import QUANTITIES, show, symbol
from meterlog.judging.limit import MARKS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.judging.limit import Limit
    from meterlog.procedure.steps import Procedure, Step

WIDTH = 100
_LABEL = 12
_ASKED_IN = {"capacitance": "µF", "cross_section": "mm²", "mass": "g", "temperature": "°C"}
"""Units that people state a quantity in, where its SI unit is not the one."""

_CLASSES = {
    "I": "I: the protective conductor passes before mains is on",
    "II": "II: double or reinforced insulation, no protective conductor",
}


def job_sheet(procedure: Procedure, where: str = "") -> str:
    """The whole procedure as text, 100 columns wide; limits of one jurisdiction when `where` names it.

    Raises: KeyError, when the procedure knows no such jurisdiction.
    """
    standing = procedure.where[where] if where else ""
    return "\n".join([*_head(procedure, where, standing), *_steps(procedure, where)]) + "\n"


def _head(procedure: Procedure, where: str, standing: str) -> Iterator[str]:
    yield procedure.title.upper()
    yield from _entry("for", procedure.appliance)
    yield from _entry("from", procedure.source)
    yield from _entry("class", _CLASSES[procedure.protection_class])
    yield from _entry("rule", procedure.rule)
    if where:
        yield from _entry("limits", f"{where}: {standing}")
    else:
        for name, edition in procedure.where.items():
            yield from _entry("choose", f"{name}: {edition}")
    yield ""
    yield "Read and acknowledge first"
    for caution in procedure.cautions:
        yield from _entry("[ ]", caution)
    for heading, entries in (("From the rating plate", procedure.plate), ("You will be asked for", procedure.asked)):
        if entries:
            yield ""
            yield heading
            for name, quantity in entries.items():
                yield from _entry("", f"{name} ({_unit(quantity)}) ________")


def _unit(kind: str) -> str:
    if kind not in QUANTITIES:
        return kind
    return _ASKED_IN.get(kind) or symbol(QUANTITIES[kind].si) or "a number"


def _steps(procedure: Procedure, where: str) -> Iterator[str]:
    texts = {point.name: point.text for point in procedure.points}
    for number, step in enumerate(procedure.steps, 1):
        yield ""
        state = "  MAINS ON" if step.energised else "  needs the appliance proved dead" if step.needs_dead else ""
        yield f"{number:>3}  {step.title}  [{step.key}]{state}"
        for caution in step.cautions:
            yield from _entry("caution", caution)
        if step.needs:
            yield from _entry("after", ", ".join(step.needs))
        if step.reach:
            yield from _entry("reach", step.reach)
        for lead, name in zip(("black lead", "red lead"), step.points, strict=False):
            yield from _entry(lead, f"{name}: {texts[name]}")
        yield from _entry("how", step.kind.on_sheet)
        yield from _measured(step)
        yield from _judged(step, where)
        if step.note:
            yield from _entry("note", step.note)


def _measured(step: Step) -> Iterator[str]:
    if not step.quantity:
        return
    parts = [" ".join(part for part in (step.mode.upper(), QUANTITIES[step.quantity].title) if part)]
    if step.test_voltage is not None:
        parts.append(f"at {show(step.test_voltage, 'volt')}")
    if step.at_s is not None:
        parts.append(f"{step.at_s:g} s after the start")
    if step.source_voltage is not None:
        parts.append(f"known source {show(step.source_voltage, 'volt')}")
    yield from _entry("measure", ", ".join(parts))
    if step.method:
        inputs = ", ".join(f"{name} = {value}" for name, value in step.inputs.items())
        yield from _entry("work out", f"{step.method} ({inputs})" if inputs else step.method)


def _judged(step: Step, where: str) -> Iterator[str]:
    chosen = step.limit_for(where) if where else None
    for limit in (chosen,) if chosen else () if where else step.limits:
        yield from _entry("passes", _limit_words(limit))
    if step.limits and where and chosen is None:
        yield from _entry("passes", f"{where}: no limit, recorded and not judged")
    if step.meaning:
        yield from _entry("fail means", step.meaning)


def _limit_words(limit: Limit) -> str:
    tag = f"{limit.where}: " if limit.where else ""
    seen = "" if limit.mark == "common practice" else f"; {MARKS[limit.mark]}"
    return f"{tag}{limit.text} ({limit.source}{seen})"


def _entry(label: str, text: str) -> list[str]:
    first = f"     {label:<{_LABEL}}"
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first)) or [first.rstrip()]
