"""Post-processors by name: what each takes and gives, for a procedure's step and for the command line."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import WrongValue
from meterlog.base.source import near_miss
from meterlog.base.uncertainty import nominal
from meterlog.judging.result import Result, nothing

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

NONSENSE = 1e100
"""No value on a bench is as large, in any SI unit: a formula that gives one was fed impossible inputs."""

MEASURED, GIVEN, SEVERAL, SERIES, WORD = "measured", "given", "several", "series", "word"


@dataclass(frozen=True, slots=True)
class Input:
    """One input of a method.

    Attributes:
        quantity: a name of `units.QUANTITIES`; "" for a word.
        doc: what it is, a phrase.
        kind: measured (a capture, with errors), given (a rating or constant, exact), several (captures
            in a row, joined by commas), series (a run of readings with their times), or a word.
        default: taken when the input is left out; None: it must be there; "": it may be missing.
        words: the words allowed.
    """

    quantity: str
    doc: str
    kind: str = MEASURED
    default: str | None = None
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """A post-processor: a pure function from inputs to a result.

    Attributes:
        name: as a procedure writes it.
        title: what it finds, a sentence.
        gives: the quantity of its result; "" when that of its first input.
        inputs: by name; the first one is the step's own capture where `with:` does not name it.
        find: the function, called with the inputs by name (spaces as underscores).
    """

    name: str
    title: str
    gives: str
    inputs: Mapping[str, Input]
    find: Callable[..., Result] = field(repr=False)

    @property
    def first(self) -> str:
        return next(iter(self.inputs))


def plain_name(name: str) -> str:
    """A method's or input's name however it is joined: "winding-rise", "winding_rise" to "winding rise"."""
    return " ".join(name.replace("-", " ").replace("_", " ").lower().split())


def hyphened(name: str) -> str:
    """A name as it is typed: "winding-rise"."""
    return name.replace(" ", "-")


def find_method(name: str, methods: Mapping[str, Method]) -> Method:
    """The method of a name. Raises: WrongValue with the near miss."""
    if plain_name(name) not in methods:
        raise WrongValue(f"no method {name!r}: {near_miss(hyphened(name), map(hyphened, methods))}")
    return methods[plain_name(name)]


def check_inputs(method: Method, given: Mapping[str, str], *, own_capture: bool) -> dict[str, str]:
    """The texts of a method's inputs by its own names, defaults filled in.

    Args:
        given: as written, by name.
        own_capture: the first input may be missing, because the step measures it.

    Raises: WrongValue, when a name is unknown or a needed input is missing.
    """
    texts: dict[str, str] = {}
    for name, text in given.items():
        if plain_name(name) not in method.inputs:
            raise WrongValue(f"{method.name} takes no {name!r}: {near_miss(plain_name(name), method.inputs)}")
        texts[plain_name(name)] = text
    for name, wanted in method.inputs.items():
        if name in texts or (own_capture and name == method.first):
            continue
        if wanted.default is None:
            raise WrongValue(f"{method.name} needs {name}: {wanted.doc}")
        if wanted.default:
            texts[name] = wanted.default
    return texts


def run(method: Method, inputs: Mapping[str, Any]) -> Result:
    """The result of a method on inputs that are already results, series or words.

    Where its formula has no value (a division by nothing, the logarithm of a negative), that is the reason.

    Raises: WrongValue, when a word cannot be read.
    """
    told = ", ".join(f"{name} {value}" for name, value in inputs.items() if isinstance(value, Result))
    nowhere = nothing(method.gives or "ratio", f"The {method.name} has no value for {told}.")
    try:
        result = method.find(**{name.replace(" ", "_"): value for name, value in inputs.items()})
        is_sound = result.number is None or abs(nominal(result.number)) + result.u < NONSENSE
    except WrongValue:
        raise
    except (ValueError, ZeroDivisionError, OverflowError):
        return nowhere
    return result if is_sound else nowhere
