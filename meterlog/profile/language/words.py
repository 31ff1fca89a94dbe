"""The shapes of single values in a profile, and how a record declares its keys once."""

from __future__ import annotations

import re
from dataclasses import MISSING, field, fields
from typing import TYPE_CHECKING, Any, TypeVar

from meterlog.base import units
from meterlog.base.schema import ByKind, Key, ListOf, Record, Scalar, Shape, Where, text
from meterlog.base.source import near_miss
from meterlog.profile.language.facts import known_unit, parse_facts, step
from meterlog.profile.language.places import Bits, characters, parse_bit_range, parse_bits, parse_bytes, parse_span

if TYPE_CHECKING:
    from collections.abc import Callable

T = TypeVar("T")
NAME = r"[a-z][a-z0-9_]{0,40}"
NOWHERE = Where(place=None, path="")  # type: ignore[arg-type]
"""The place of a record that no text says."""


def key(doc: str, shape: Shape, default: Any = MISSING, name: str = "") -> Any:
    """A field of a record that is a key of the language; required when it has no default."""
    required = default is MISSING
    made = Key(shape=shape, doc=doc, required=required, default=None if required else default)
    return field(metadata={"key": made, "name": name})


def record(name: str, made: type[Any], doc: str) -> Record:
    """The shape of a record whose fields were declared by `key`."""
    keys = {f.metadata["name"] or f.name.replace("_", " "): f.metadata["key"] for f in fields(made) if f.metadata}
    arguments = {_argument(f.metadata["name"]): f.name for f in fields(made) if f.metadata and f.metadata["name"]}

    def make(**said: Any) -> Any:
        return made(**{arguments.get(word, word): value for word, value in said.items()})

    return Record(name, make, keys, doc)


def bare(made: type[T], where: Where, **said: Any) -> T:
    """A record as if its text had said only this."""
    declared: Any = made
    defaults = {f.name: f.metadata["key"].default for f in fields(declared) if f.metadata}
    return declared(**{**defaults, **said}, where=where)  # type: ignore[no-any-return]


def _argument(name: str) -> str:
    """How `Record` hands over a key that is a word of Python."""
    return name + "_" if name in ("as", "is", "with", "from") else name.replace(" ", "_")


def parsed(expected: str, parse: Callable[[str], Any], pattern: str = "") -> Scalar:
    schema: dict[str, Any] = {"type": ["string", "number", "boolean"]}
    return Scalar(expected, parse, {"type": ["string", "integer"], "pattern": pattern} if pattern else schema)


def one_or_more(shape: Scalar) -> Shape:
    """A list, of which a single item may stand alone; read as a tuple."""
    alone = Scalar(shape.expected, lambda value: (shape.parse(value),), shape.schema)
    return ByKind(scalar=alone, sequence=ListOf(shape, least=1))


def _quantity(value: str) -> str:
    name = value.replace(" ", "_")
    if name not in units.QUANTITIES:
        raise ValueError(near_miss(name, units.QUANTITIES))
    return name


def _bits_anywhere(value: str) -> tuple[Bits, ...] | tuple[int, int]:
    return parse_bits(value) if re.search(r"\d\.\d", value.replace("..", " ")) else parse_bit_range(value)


BYTES = parsed("bytes: a text such as <STX>OK<CR>, or hex 55 AA", parse_bytes)
SPAN = parsed("bytes such as 3 or 3..6 (-1 is the last)", parse_span, r"^-?\d+(\.\.-?\d+)?$")
BITS = parsed("bits such as 2.3, or 2.2..0 3.3..0", parse_bits)
BITS_OF_A_BYTE = parsed("bits of a byte, such as 7..4 or 3", parse_bit_range)
BITS_ANYWHERE = parsed("bits such as 7..4, or 2.2..0 3.3..0", _bits_anywhere)
FACTS = parsed('what it means, such as "dc voltage", "6.000 V", "flag hold", "overload"', parse_facts)
STEP = parsed("what one count is worth, such as 0.1 degC", step)
QUANTITY = parsed("a quantity, such as voltage", _quantity)
UNIT = parsed("a unit, such as kohm", lambda value: known_unit(value, value))
TEMPLATE = parsed("a text with {fields} in it", characters)
CODE = text("a code: a number, 0x3B, or the text itself", r".*")
FIELD_NAME = text("a field's name (small letters, digits, _)", NAME)
MESSAGE_NAME = text("a message's name (small letters, digits, _)", NAME)
WORDS = text("words")
EXPRESSION = text("an expression")
