"""The limits that are written of a step: each read in its quantity, and what disagrees in them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.base.units import QUANTITIES
from meterlog.judging.limit import Limit
from meterlog.judging.method import plain_name
from meterlog.judging.postprocess import METHODS
from meterlog.judging.rule import NEVER_BELOW
from meterlog.procedure.entries import title_of
from meterlog.procedure.kinds import KINDS
from meterlog.procedure.limits import EXAMPLES, parse_limit

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.base.source import Problems
    from meterlog.procedure.steps import Step
    from meterlog.procedure.written import WrittenKeys

_CAN_BE_OPEN = {"resistance", "continuity", "insulation_resistance", "junction_voltage"}


def limits_of(
    written: WrittenKeys, quantity: str, entries: Mapping[str, str], where: Mapping[str, str], problems: Problems
) -> tuple[Limit, ...]:
    """The limits of a step that measures a quantity, SI, one for each jurisdiction; what can't be read is told.

    `entries` by name with their quantities, `where` the jurisdictions: both as the procedure lists them.
    """
    found: list[Limit] = []
    for limit in written.limits:
        read = _limit(limit, written, quantity, entries, where, problems)
        if read and any(read.where == other.where for other in found):
            limit.where.tell(
                problems,
                expected="one limit for each jurisdiction, and one for all",
                saw=f"a second one for {read.where or 'all'}",
                hint="give it another where:, or a step of its own",
            )
        if read:
            found.append(read)
    return tuple(found)


def _limit(
    limit: WrittenKeys,
    step: WrittenKeys,
    quantity: str,
    entries: Mapping[str, str],
    where: Mapping[str, str],
    problems: Problems,
) -> Limit | None:
    if limit.where_ and limit.where_ not in where:
        limit.where.tell(
            problems,
            "where",
            expected="a jurisdiction that the procedure lists under where:",
            saw=limit.where_,
            hint=near_miss(limit.where_, where) or "list it under where: with edition and standing",
        )
    if not quantity:
        return None
    title = QUANTITIES[quantity].title
    try:
        bounds = parse_limit(limit.is_, QUANTITIES[quantity].si)
    except WrongValue as error:
        limit.where.tell(problems, "is", expected=f"a limit for {title}", saw=limit.is_, hint=str(error))
        return None
    if bounds.is_open and quantity not in _CAN_BE_OPEN:
        hint = "open is for " + ", ".join(sorted(_CAN_BE_OPEN))
        limit.where.tell(problems, "is", expected=f"a limit for {title}", saw="open", hint=hint)
    if bounds.by_method and (not step.method or not KINDS[step.kind].method_finds_limit):
        limit.where.tell(
            problems, "is", expected="a limit, in a step without a method that finds one", saw=limit.is_, hint=EXAMPLES
        )
    rules = METHODS[plain_name(step.method)].inputs.get("rule") if plain_name(step.method) in METHODS else None
    if bounds.by and (rules is None or bounds.by not in rules.words):
        words = rules.words if rules else ()
        limit.where.tell(problems, "is", expected=f"a rule of the method {step.method!r}", saw=f"{bounds.by} rule",
                         hint=f"one of {', '.join(words)}" if words else "it has no rules to choose from")  # fmt: skip
    if bounds.of and entries.get(bounds.of) != quantity:
        seen = f"{bounds.of!r}, a {title_of(entries[bounds.of])}" if bounds.of in entries else repr(bounds.of)
        same = [name for name, kind in entries.items() if kind == quantity]
        limit.where.tell(
            problems,
            "is",
            expected=f"an entry of plate: or asked: that is a {title}",
            saw=seen,
            hint=near_miss(bounds.of, same) or f"list it under plate: with its quantity, {quantity}",
        )
    return Limit(
        low=bounds.low,
        high=bounds.high,
        unit=bounds.unit,
        text=limit.is_,
        source=limit.source,
        mark=limit.mark,
        where=limit.where_,
        of=bounds.of,
        by=bounds.by,
        is_open=bounds.is_open,
    )


def check_lower_ends(written: WrittenKeys, steps: Iterable[Step], problems: Problems) -> None:
    """A lower end of nothing, of what can't be less: a good reading near nothing would stay undecided by it."""
    for text, step in zip(written.steps, steps, strict=True):
        for said, limit in zip(text.limits, step.limits, strict=True):
            if limit.low == 0 and limit.high is not None and step.quantity in NEVER_BELOW:
                upper = limit.text.partition("..")[2].strip() or limit.text
                said.where.tell(
                    problems,
                    "is",
                    expected=f'"at most {upper}": less than nothing there is not',
                    saw=limit.text,
                    hint="held against 0 as well, a good reading near it would stay undecided",
                )
