"""What a check that was found says, and when one is believed: bodies beside the bytes that are to prove them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FEWEST = 6
"""Different frames below which no check is proposed."""

MANY, _STRAYS = 20, 0.2
"""Where so many different frames came, a check may fail for this part of them: damage does not hide it."""

SKIPS = (0, 1, 2, 3)

Body = tuple[bytes, bytes]
"""The bytes that a check proves, and its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCheck:
    """A check with its keys in a profile, `size` bytes before the end mark.

    It holds for `frames` different frames, and not for the `strays`: damaged ones, or of another kind.
    """

    name: str
    keys: Mapping[str, Any]
    size: int
    frames: int
    strays: frozenset[bytes] = frozenset()


def _keys(kind: str, size: int, skip: int, **more: Any) -> dict[str, Any]:
    keys: dict[str, Any] = {"kind": kind}
    if skip:
        keys["over"] = f"{skip}..{-size - 1}"
    keys["at"] = f"{-size}..-1" if size > 1 else -1
    return keys | {name: value for name, value in more.items() if value}


def orders(size: int) -> tuple[str, ...]:
    return ("big", "little")[:size]


def found_check(
    name: str, bodies: Sequence[Body], size: int, skip: int, order: str, more: Mapping[str, Any], prove: Any
) -> FoundCheck:
    told = {"order": order if order == "little" else "", **more}
    strays = frozenset(data + check for data, check in bodies if prove(data[skip:]) != number(check, order))
    return FoundCheck(
        name=name, keys=_keys(name, size, skip, **told), size=size, frames=len(bodies) - len(strays), strays=strays
    )


def number(data: bytes, order: str) -> int:
    return int.from_bytes(data, "big" if order == "big" else "little")


def holds(bodies: Sequence[Body], prove: Any, skip: int, order: str) -> bool:
    left = allowed(bodies)
    for data, check in bodies:
        if prove(data[skip:]) != number(check, order):
            if not left:
                return False
            left -= 1
    return True


def allowed(bodies: Sequence[object]) -> int:
    """How many of these frames may be strays."""
    return int(_STRAYS * len(bodies)) if len(bodies) >= MANY else 0
