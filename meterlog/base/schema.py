"""What a YAML text may say: shapes that read nodes into records and describe themselves.

One declaration serves four uses: reading with places, messages with hints, the JSON Schema for
editors, and the test that holds the manual to it. Shapes never raise: they add to `Problems` and
answer `WRONG`, so that one pass tells everything that is wrong.
"""

from __future__ import annotations

import keyword
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import yaml

from meterlog.base.errors import WrongValue
from meterlog.base.source import Problems, compose, near_miss, place_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.base.problem import Place


class _Wrong:
    """Stands for a value that could not be read; its problem is already told."""

    def __repr__(self) -> str:
        return "WRONG"


WRONG = _Wrong()


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """The place of a record and of each of its keys, for what only the meaning can show wrong."""

    place: Place
    path: str
    keys: Mapping[str, Place] = field(default_factory=dict)

    def tell(self, problems: Problems, key: str = "", *, expected: str, saw: str, hint: str = "") -> None:
        path = f"{self.path}.{key}".strip(".") if key else self.path
        problems.add(self.keys.get(key, self.place), path, expected=expected, saw=saw, hint=hint)


class Shape(Protocol):
    """How one kind of value is read and described."""

    @property
    def expected(self) -> str: ...
    def read(self, node: yaml.Node, path: str, problems: Problems) -> Any: ...
    def json_schema(self) -> dict[str, Any]: ...


def saw(node: yaml.Node) -> str:
    """A node in the words of a message."""
    if isinstance(node, yaml.ScalarNode):
        return node.value if node.value != "" else "nothing"
    kind = "mapping" if isinstance(node, yaml.MappingNode) else "list"
    return f"a {kind}" if node.value else f"an empty {kind}"


def _tell(shape: Shape, node: yaml.Node, path: str, problems: Problems, hint: str = "") -> _Wrong:
    problems.add(place_of(node, problems.name), path, expected=shape.expected, saw=saw(node), hint=hint)
    return WRONG


@dataclass(frozen=True, slots=True)
class Scalar:
    """A scalar read from its text by `parse`, which raises ValueError with a hint when it can't."""

    expected: str
    parse: Callable[[str], Any] = str
    schema: dict[str, Any] = field(default_factory=lambda: {"type": ["string", "number", "boolean"]})

    def read(self, node: yaml.Node, path: str, problems: Problems) -> Any:
        if not isinstance(node, yaml.ScalarNode):
            is_mapping = isinstance(node, yaml.MappingNode)
            return _tell(self, node, path, problems, 'a text that holds ": " stands in quotes' if is_mapping else "")
        try:
            return self.parse(node.value)
        except ValueError as error:
            return _tell(self, node, path, problems, hint=str(error))

    def json_schema(self) -> dict[str, Any]:
        return dict(self.schema)


def text(expected: str = "a text", pattern: str = "") -> Scalar:
    """A text, not empty; with `pattern`, one that matches it whole."""
    compiled = re.compile(pattern or r".+", re.DOTALL)

    def parse(value: str) -> str:
        if not compiled.fullmatch(value):
            raise ValueError("")
        return value

    schema: dict[str, Any] = {"type": ["string", "number", "boolean"]}
    if pattern:
        schema["pattern"] = f"^(?:{pattern})$"  # of a text; what YAML reads as a number is text to us as well
    return Scalar(expected, parse, schema)


def choice(*allowed: str) -> Scalar:
    """One of a few words, with the near miss offered."""

    def parse(value: str) -> str:
        if value not in allowed:
            raise ValueError(near_miss(value, allowed))
        return value

    numbers = [float(word) for word in allowed if re.fullmatch(r"\d+(\.\d+)?", word)]
    return Scalar("one of: " + ", ".join(allowed), parse, {"enum": [*allowed, *numbers]})


def whole(low: int | None = None, high: int | None = None) -> Scalar:
    """A whole number, decimal or 0x hex, within bounds."""
    span = (
        f" from {low} to {high}"
        if low is not None and high is not None
        else f" from {low} up"
        if low is not None
        else ""
    )

    def parse(value: str) -> int:
        if not re.fullmatch(r"-?\d{1,20}|0x[0-9A-Fa-f]{1,16}", value):
            raise ValueError("")
        number = int(value, 16) if value.startswith("0x") else int(value)
        if (low is not None and number < low) or (high is not None and number > high):
            raise ValueError("")
        return number

    schema: dict[str, Any] = {"type": ["integer", "string"]}
    if low is not None:
        schema["minimum"] = low
    if high is not None:
        schema["maximum"] = high
    return Scalar(f"a whole number{span}", parse, schema)


def number(expected: str = "a number") -> Scalar:
    """A plain decimal number as a float; no unit, so only for ratios and counts."""

    def parse(value: str) -> float:
        if not re.fullmatch(r"[-+]?\d{1,17}(\.\d{1,17})?([eE][-+]?\d{1,2})?", value):
            raise ValueError("")
        return float(value)

    return Scalar(expected, parse, {"type": ["number", "string"]})


def yes_no() -> Scalar:
    """`true` or `false`, nothing else: YAML's other words for them mislead."""
    words = {"true": True, "false": False}

    def parse(value: str) -> bool:
        if value not in words:
            raise ValueError("write true or false")
        return words[value]

    return Scalar("true or false", parse, {"type": "boolean"})


def quantity(unit: str, example: str, least: str = "", most: str = "") -> Scalar:
    """A number with its unit, of the dimension of `unit`; read as a float in SI, within two such texts."""

    def parse(value: str) -> float:
        from meterlog.base import units

        try:
            read = units.parse(value, unit)
            low, high = (units.parse(end, unit) if end else None for end in (least, most))
        except WrongValue as error:
            raise ValueError(str(error)) from None
        if (low is not None and read < low) or (high is not None and read > high):
            raise ValueError(f"write {least} to {most}" if least and most else f"write at least {least}{most}")
        return read

    return Scalar(f'a number with its unit, such as "{example}"', parse, {"type": "string"})


def hex_bytes(expected: str = 'bytes in quoted hex, such as "55 AA"') -> Scalar:
    """Bytes written in hex, blanks between them allowed; one digit a byte is refused."""

    def parse(value: str) -> bytes:
        packed = value.replace(" ", "").replace("\n", "")
        if not packed or len(packed) % 2 or not re.fullmatch(r"[0-9A-Fa-f]+", packed):
            raise ValueError("two hex digits for each byte, in quotes")
        return bytes.fromhex(packed)

    return Scalar(expected, parse, {"type": "string", "pattern": "^[0-9A-Fa-f ]+$"})


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list of one shape, at least `least` long."""

    item: Shape
    least: int = 0
    most: int = 10_000

    @property
    def expected(self) -> str:
        return f"a list, each {self.item.expected}"

    def read(self, node: yaml.Node, path: str, problems: Problems) -> Any:
        if not isinstance(node, yaml.SequenceNode) or not self.least <= len(node.value) <= self.most:
            return _tell(self, node, path, problems, hint=f"at least {self.least}" if self.least else "")
        items = [self.item.read(child, f"{path}[{i}]", problems) for i, child in enumerate(node.value)]
        return WRONG if any(item is WRONG for item in items) else tuple(items)

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": self.item.json_schema(), "minItems": self.least}


@dataclass(frozen=True, slots=True)
class MapOf:
    """A mapping whose keys are free but shaped, to values of one shape, in the order written."""

    key: Scalar
    value: Shape
    least: int = 0

    @property
    def expected(self) -> str:
        return f"a mapping from {self.key.expected} to {self.value.expected}"

    def read(self, node: yaml.Node, path: str, problems: Problems) -> Any:
        if not isinstance(node, yaml.MappingNode) or len(node.value) < self.least:
            return _tell(self, node, path, problems)
        read: dict[Any, Any] = {}
        wrong = False
        for key_node, value_node in node.value:
            key = self.key.read(key_node, path, problems)
            value = self.value.read(value_node, f"{path}.{saw(key_node)}".strip("."), problems)
            if key is not WRONG and key in read:
                place = place_of(key_node, problems.name)
                problems.add(
                    place, path, expected="each key once", saw=f"{saw(key_node)} again", hint="keep one of the two"
                )
                wrong = True
            wrong = wrong or key is WRONG or value is WRONG
            if key is not WRONG:
                read[key] = value
        return WRONG if wrong else read

    def json_schema(self) -> dict[str, Any]:
        return {"type": "object", "additionalProperties": self.value.json_schema()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One allowed key of a record: its shape, whether it must be there, and a sentence on it."""

    shape: Shape
    doc: str
    required: bool = False
    default: Any = None


def _argument(key: str) -> str:
    name = key.replace(" ", "_").replace("-", "_")
    return f"{name}_" if keyword.iskeyword(name) or name == "where" else name


@dataclass(frozen=True, slots=True)
class Record:
    """A mapping with known keys, read into `make(**values, where=Where)`; unknown keys are refused.

    A key of two words ("test voltage") arrives as `test_voltage`, a word of Python ("with") and
    `where` itself with an underscore behind: `with_`, `where_`.
    """

    name: str
    make: Callable[..., Any]
    keys: Mapping[str, Key]
    doc: str = ""

    @property
    def expected(self) -> str:
        return f"{self.name} (a mapping)"

    def read(self, node: yaml.Node, path: str, problems: Problems) -> Any:
        if not isinstance(node, yaml.MappingNode):
            return _tell(self, node, path, problems, hint="keys allowed: " + ", ".join(self.keys))
        before = len(problems)
        values: dict[str, Any] = {name: key.default for name, key in self.keys.items() if not key.required}
        places: dict[str, Place] = {}
        for key_node, value_node in node.value:
            name = saw(key_node)
            if name not in self.keys:
                self._unknown(key_node, name, path, problems)
            elif name in places:
                place = place_of(key_node, problems.name)
                problems.add(place, f"{path}.{name}".strip("."), expected="each key once", saw=f"{name} again")
            else:
                places[name] = place_of(value_node, problems.name)
                values[name] = self.keys[name].shape.read(value_node, f"{path}.{name}".strip("."), problems)
        place = place_of(node, problems.name)
        for name, key in self.keys.items():
            if key.required and name not in places:
                problems.add(
                    place, path, expected=f"the key {name!r}: {key.shape.expected}", saw="no such key", hint=key.doc
                )
        if len(problems) > before:
            return WRONG
        named = {_argument(name): value for name, value in values.items()}
        return self.make(**named, where=Where(place=place, path=path, keys=places))

    def _unknown(self, key_node: yaml.Node, name: str, path: str, problems: Problems) -> None:
        problems.add(
            place_of(key_node, problems.name),
            f"{path}.{name}".strip("."),
            expected=f"a key of {self.name}",
            saw=name,
            hint=near_miss(name, self.keys),
        )

    def json_schema(self) -> dict[str, Any]:
        properties = {name: {**key.shape.json_schema(), "description": key.doc} for name, key in self.keys.items()}
        required = [name for name, key in self.keys.items() if key.required]
        return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


@dataclass(frozen=True, slots=True)
class ByKind:
    """One of several shapes, told apart by what stands there: a scalar, a list or a mapping."""

    scalar: Shape | None = None
    sequence: Shape | None = None
    mapping: Shape | None = None

    @property
    def _shapes(self) -> tuple[Shape, ...]:
        return tuple(s for s in (self.scalar, self.sequence, self.mapping) if s is not None)

    @property
    def expected(self) -> str:
        return ", or ".join(shape.expected for shape in self._shapes)

    def read(self, node: yaml.Node, path: str, problems: Problems) -> Any:
        kinds = {yaml.ScalarNode: self.scalar, yaml.SequenceNode: self.sequence, yaml.MappingNode: self.mapping}
        shape = kinds[type(node)]
        return _tell(self, node, path, problems) if shape is None else shape.read(node, path, problems)

    def json_schema(self) -> dict[str, Any]:
        return {"anyOf": [shape.json_schema() for shape in self._shapes]}


def read_text(shape: Shape, source: str, name: str, check: Callable[[Any, Problems], None] | None = None) -> Any:
    """Read a whole YAML text by its shape; `check` adds what only the meaning can show.

    Raises: WrongText with every problem, in file order.
    """
    node = compose(source, name)
    problems = Problems(name)
    value = shape.read(node, "", problems)
    problems.raise_if_any()
    if check is not None:
        check(value, problems)
        problems.raise_if_any()
    return value
