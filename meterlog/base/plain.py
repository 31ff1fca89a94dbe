"""Records as plain values of JSON and back: frozen dataclasses of texts, numbers, enumerations, tuples and mappings."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import is_dataclass
from enum import Enum
from functools import cache
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


def from_plain(kind: type[T], value: Any) -> T:
    """The record of a kind that `dataclasses.asdict` and JSON made plain values of; unknown keys are passed over.

    Raises: KeyError, TypeError or ValueError when it did not.

    >>> from_plain(tuple[int, ...], [1, 2])
    (1, 2)
    """
    found: T = _read(kind, value)
    return found


def _read(kind: Any, value: Any) -> Any:
    origin = get_origin(kind)
    if origin in (Union, UnionType):
        (whole,) = (each for each in get_args(kind) if each is not type(None))
        return None if value is None else _read(whole, value)
    if origin is tuple:
        return tuple(_read(get_args(kind)[0], each) for each in value)
    if origin is Mapping:
        return {key: _read(get_args(kind)[1], each) for key, each in value.items()}
    if is_dataclass(kind):
        build: Any = kind
        return build(**{name: _read(each, value[name]) for name, each in _fields(build).items() if name in value})
    return kind(value) if isinstance(kind, type) and issubclass(kind, Enum) else value


@cache
def _fields(kind: Callable[..., Any]) -> dict[str, Any]:
    return get_type_hints(kind)
