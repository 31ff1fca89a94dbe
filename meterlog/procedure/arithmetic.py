"""Whether a step's method exists, gives what the step judges, and gets inputs that are there and of the right kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.base.units import QUANTITIES
from meterlog.heating import METHODS as HEATING
from meterlog.heating import misfit
from meterlog.judging.method import GIVEN, MEASURED, SERIES, SEVERAL, WORD, Input, Method, plain_name
from meterlog.judging.postprocess import METHODS
from meterlog.judging.written import given_value
from meterlog.procedure.entries import WORDS, title_of
from meterlog.procedure.kinds import Kind, Opens

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.base.source import Problems
    from meterlog.procedure.written import WrittenKeys

SWITCHED_BY = Input("", "the quantity whose coming and going starts and stops it", WORD, "", tuple(QUANTITIES))
HEATING_INPUTS: dict[str, Input] = {
    "mass": Input("mass", "of the water"),
    "rated": Input("power", "from the plate", GIVEN, ""),
    "ambient": Input("temperature", "of the room", MEASURED, ""),
    "vessel": Input("", 'what holds the water, such as "340 g glass"', WORD, ""),
    "warm up": Input("", 'time to full power, such as "2 s ± 1 s"; "0 s" of a kettle, urn or hob', WORD, ""),
    "stirred": Input("", "an entry: before, after or both, when somebody stirred with the probe in the load", WORD, ""),
    "second mass": Input("mass", "of the water in the second of two vessels", MEASURED, ""),
    "second vessel": Input("", "what holds that", WORD, ""),
    "channels": Input("", 'the thermometer\'s, one for each of two vessels, such as "T1, T2"', WORD, ""),
    "switched by": SWITCHED_BY,
}
"""What a heating run takes beside the thermometer's trace."""

_ANY_QUANTITY = ("ratio", "mean of repeats", "drift", "trend")


@dataclass(frozen=True, slots=True)
class Known:
    """What stands before a step: quantity by step key, quantity by entry, and every step's key."""

    steps: Mapping[str, str]
    entries: Mapping[str, str]
    every: Sequence[str]


def check_method(step: WrittenKeys, kind: Kind, quantity: str, known: Known, problems: Problems) -> None:
    """Tell what is wrong with a step's `method` and `with`."""
    if kind.is_run:
        _check_name(step, HEATING, problems)
        _check_inputs(step, "a heating run", HEATING_INPUTS, "", known, problems)
        _check_loads(step, problems)
    elif kind.opens is Opens.START and not step.method:
        _check_inputs(step, "a timed step", {"switched by": SWITCHED_BY}, "", known, problems)
    elif step.method and _check_name(step, METHODS, problems):
        method = METHODS[plain_name(step.method)]
        _check_result(step, method, quantity, problems)
        own = "" if kind.opens is Opens.COMPUTED else method.first
        _check_inputs(step, method.name, method.inputs, own, known, problems)
    elif step.with_ and not step.method:
        step.where.tell(problems, "with", expected="inputs of a method", saw="no method", hint="write method: as well")


def _check_loads(step: WrittenKeys, problems: Problems) -> None:
    """Tell when a heating run's method and its loads do not pair."""
    given = {plain_name(name) for name in step.with_}
    loads = 2 if "second mass" in given else 1
    why = misfit(step.method, loads) if step.method in HEATING else ""
    if why:
        hint = "write second mass: as well" if loads == 1 else "leave second mass: out, or choose one of these"
        expected = f"a method of {'two loads' if loads == 2 else 'one load'}"
        step.where.tell(problems, "method", expected=expected, saw=why, hint=hint)
    for name in ("second vessel", "channels"):
        if loads == 1 and name in given:
            expected = f"second mass: beside {name!r}"
            step.where.tell(problems, "with", expected=expected, saw="one load", hint="say what it weighs")


def _check_name(step: WrittenKeys, methods: Mapping[str, object], problems: Problems) -> bool:
    name = step.method if step.method in methods else plain_name(step.method)
    if step.method and name not in methods:
        step.where.tell(
            problems, "method", expected="a method", saw=step.method, hint=near_miss(plain_name(step.method), methods)
        )
    return name in methods


def _check_result(step: WrittenKeys, method: Method, quantity: str, problems: Problems) -> None:
    if method.gives and quantity and QUANTITIES[method.gives].si != QUANTITIES[quantity].si:
        step.where.tell(
            problems,
            "quantity",
            expected=f"{method.gives}, what {method.name!r} finds",
            saw=quantity,
            hint=f"write quantity: {method.gives}",
        )


def _check_inputs(
    step: WrittenKeys, of: str, inputs: Mapping[str, Input], own: str, known: Known, problems: Problems
) -> None:
    for name, text in step.with_.items():
        wanted = inputs.get(plain_name(name))
        if wanted is None:
            hint = near_miss(plain_name(name), inputs)
            step.where.tell(problems, "with", expected=f"an input of {of}", saw=name, hint=hint)
            continue
        parts = text.split(",") if wanted.kind == SEVERAL else [text]
        for part in parts:
            _check_input(step, name, wanted, part.strip(), known, problems)
    given = {plain_name(name) for name in step.with_}
    for name, wanted in inputs.items():
        if wanted.default is None and name not in given and name != own:
            step.where.tell(
                problems,
                "with" if step.has("with") else "method",
                expected=f"the input {name!r} of {of}: {wanted.doc}",
                saw="no such input",
                hint="name a step, an entry, or write a quantity with its unit",
            )


def _check_input(step: WrittenKeys, name: str, wanted: Input, text: str, known: Known, problems: Problems) -> None:
    if wanted.kind == WORD:
        if wanted.words and text not in wanted.words and known.entries.get(text) != WORDS:
            expected = f"one of {', '.join(wanted.words)} for {name!r}"
            step.where.tell(problems, "with", expected=expected, saw=text, hint=near_miss(text, wanted.words))
        return
    found = known.steps.get(text) or known.entries.get(text)
    if found is None:
        _check_text(step, name, wanted, text, known, problems)
    elif plain_name(step.method) not in _ANY_QUANTITY and _unit(found) != _unit(wanted.quantity):
        title = title_of(wanted.quantity)
        seen = f"{text}, which is a {title_of(found)}"
        step.where.tell(problems, "with", expected=f"a {title} for {name!r}: {wanted.doc}", saw=seen)


def _unit(kind: str) -> str:
    return QUANTITIES[kind].si if kind in QUANTITIES else ""


def _check_text(step: WrittenKeys, name: str, wanted: Input, text: str, known: Known, problems: Problems) -> None:
    """A text that is no step and no entry is a quantity with its unit; anything else is misspelt."""
    if wanted.kind == SERIES and ":" in text:
        return
    try:
        given_value(text.split("±")[0], wanted.quantity)
    except WrongValue as error:
        names = [*known.steps, *known.entries]
        if text == step.step or text in known.every:
            seen, hint = f"{text}, which is this step or stands later", "put that step first"
        else:
            hint = near_miss(text, names)
            seen, hint = text, hint if hint.startswith("did you mean") else str(error)
        expected = f"a step before this one, an entry or a quantity for {name!r}"
        step.where.tell(problems, "with", expected=expected, saw=seen, hint=hint)
