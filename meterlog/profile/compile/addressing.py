"""One profile at any address: the address put into its texts, and a profile's text at the address of a bench.

What is kept with each reading is the profile's text; so a bench that chooses an address gets a text that has it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import yaml

from meterlog.base.source import compose
from meterlog.profile.language.wire import ADDRESS

if TYPE_CHECKING:
    from collections.abc import Iterator

HOLE = "{address}"


def put_in(node: yaml.Node) -> None:
    """Put a profile's address into all its texts in place of `{address}`; nothing where it says none."""
    said = _scalar(node, "address")
    if said is None:
        return
    for scalar in _scalars(node):
        scalar.value = scalar.value.replace(HOLE, said.value)


def at_address(text: str, name: str, address: str) -> str:
    """A profile's text at another address, without the examples, whose bytes hold the old one.

    Raises: WrongText when it is no YAML, ValueError with a hint when it has no such address.
    """
    node = compose(text, name)
    said = _scalar(node, "address") or _scalar(_value(node, "modbus"), "address")
    if said is None:
        raise ValueError("the profile says no address; write `address: 01` in it, and {address} where it stands")
    if said.value == address:
        return text
    if said is _scalar(node, "address"):
        ADDRESS.parse(address)
        if len(address) != len(said.value):
            raise ValueError(f"as many characters as the profile's own, {said.value}")
    elif not address.isdecimal():
        raise ValueError("a whole number, for a Modbus device")
    pieces = [(said.start_mark, said.end_mark, f'"{address}"'), *_examples(node)]
    for start, end, instead in sorted(pieces, key=lambda piece: piece[0].line, reverse=True):
        text = text[: _offset(text, start)] + instead + text[_offset(text, end) :]
    return text


def _examples(node: yaml.Node) -> list[tuple[yaml.Mark, yaml.Mark, str]]:
    """Where the examples stand, and what stands there instead."""
    assert isinstance(node, yaml.MappingNode)
    return [(key.start_mark, value.end_mark, "") for key, value in node.value if key.value == "examples"]


def _offset(text: str, mark: yaml.Mark) -> int:
    lines = text.splitlines(keepends=True)
    return sum(map(len, lines[: mark.line])) + mark.column


def _value(node: yaml.Node | None, key: str) -> yaml.Node | None:
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    return next((value for said, value in pairs if said.value == key), None)


def _scalar(node: yaml.Node | None, key: str) -> yaml.ScalarNode | None:
    value = _value(node, key)
    return value if isinstance(value, yaml.ScalarNode) else None


def _scalars(node: yaml.Node) -> Iterator[yaml.ScalarNode]:
    if isinstance(node, yaml.ScalarNode):
        yield node
    for child in node.value if isinstance(node, yaml.CollectionNode) else ():
        for part in child if isinstance(child, tuple) else (child,):
            yield from _scalars(part)
