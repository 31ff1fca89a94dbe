"""Arithmetic over fields: a small expression, parsed, checked and written as exact whole-number code.

    hi * 256 + lo          raw * 0.0625 - 40          (a + b) / 2

Names are fields; + - * / and brackets are all there is. A result is n / d / 10**k in whole numbers,
so that no digit is lost on the way.
"""

from __future__ import annotations

import ast
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

LONGEST = 200
MOST_PARTS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Exact:
    """Code for a number n / d / 10**k. `const`: n as a number where it is known, d being 1."""

    n: str
    d: str = "1"
    k: int = 0
    const: int | None = None


def parse(text: str) -> ast.expr:
    """The tree of an expression. Raises: ValueError, naming what is not allowed."""
    if len(text) > LONGEST:
        raise ValueError(f"at most {LONGEST} characters")
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        raise ValueError("write fields, numbers, + - * / and brackets") from None
    nodes = list(ast.walk(tree))
    if len(nodes) > MOST_PARTS:
        raise ValueError("shorter: this is too much arithmetic for a reading")
    for node in nodes:
        if isinstance(
            node, (ast.Name, ast.Load, ast.Add, ast.Sub, ast.Mult, ast.Div, ast.USub, ast.BinOp, ast.UnaryOp)
        ):
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and 0 <= node.value < 1e15:
            continue
        raise ValueError("write fields, numbers, + - * / and brackets")
    return tree


def names(tree: ast.expr) -> list[str]:
    """The fields that it uses, in order."""
    return [node.id for node in ast.walk(tree) if isinstance(node, ast.Name)]


def operands(text: str) -> list[str]:
    """The fields that a text uses, each once; none where it is no arithmetic.

    >>> operands("a * 2 + b - a"), operands("a +")
    (['a', 'b'], [])
    """
    try:
        return list(dict.fromkeys(names(parse(text)))) if text else []
    except ValueError:
        return []


def exact(tree: ast.expr, field: Callable[[str], Exact]) -> Exact:
    """The code of an expression; `field` gives that of a field."""
    match tree:
        case ast.Name(id=name):
            return field(name)
        case ast.Constant(value=value):
            return _constant(Decimal(repr(value)))
        case ast.UnaryOp(operand=operand):
            return _times(exact(operand, field), _constant(Decimal(-1)))
        case ast.BinOp(left=left, op=op, right=right):
            one, other = exact(left, field), exact(right, field)
            if isinstance(op, ast.Mult):
                return _times(one, other)
            if isinstance(op, ast.Div):
                return _over(one, other)
            return _plus(one, other, "+" if isinstance(op, ast.Add) else "-")
    raise AssertionError("`parse` lets nothing else through")


def _constant(value: Decimal) -> Exact:
    _, digits, exponent = value.normalize().as_tuple()
    assert isinstance(exponent, int)
    number = int("".join(map(str, digits))) * (-1 if value < 0 else 1)
    if exponent >= 0:
        return Exact(n=f"({number * 10**exponent})", const=number * 10**exponent)
    return Exact(n=f"({number})", k=-exponent, const=number)


def _times(one: Exact, other: Exact) -> Exact:
    d = other.d if one.d == "1" else one.d if other.d == "1" else f"({one.d} * {other.d})"
    const = one.const * other.const if one.const is not None and other.const is not None else None
    return Exact(n=f"({one.n} * {other.n})", d=d, k=one.k + other.k, const=const)


def _over(one: Exact, other: Exact) -> Exact:
    if other.const == 0:
        raise ValueError("a division by zero")
    if other.const is not None:
        inverse = _inverse(other.const, other.k)
        if inverse is not None:
            return _times(one, inverse)
    d = other.n if one.d == "1" else f"({one.d} * {other.n})"
    n = f"({one.n} * {other.d})" if other.d != "1" else one.n
    return Exact(n=f"({n} * {10**other.k})" if other.k else n, d=d, k=one.k)


def _inverse(const: int, k: int) -> Exact | None:
    """1 / (const / 10**k) where it has an end."""
    rest, twos, fives = abs(const), 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1 or max(twos, fives) > 12:
        return None
    places = max(twos, fives)
    number = 10**places // const
    return _constant(Decimal(number).scaleb(k - places))


def _plus(one: Exact, other: Exact, sign: str) -> Exact:
    k = max(one.k, other.k)
    a, b = (f"{x.n} * {10 ** (k - x.k)}" if k > x.k else x.n for x in (one, other))
    if one.d == other.d == "1":
        return Exact(n=f"({a} {sign} {b})", k=k)
    return Exact(n=f"({a} * {other.d} {sign} {b} * {one.d})", d=f"({one.d} * {other.d})", k=k)


def rounded(n: int, d: int) -> int:
    """n / d to a whole number, halves to the even one.

    >>> rounded(5, 2), rounded(7, 2), rounded(-5, 2)
    (2, 4, -2)
    """
    if d < 0:
        n, d = -n, -d
    whole, rest = divmod(n, d)
    return whole + (2 * rest > d or (2 * rest == d and whole & 1))
